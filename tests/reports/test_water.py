"""What the water is, in words: every figure with its doubt, and nothing that does not fit is passed over."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tubwater.advice.saturation import Lime, lime_of
from tubwater.reports.language import Language, speaking
from tubwater.reports.text import kinds
from tubwater.reports.water import render_water
from tubwater.services.advise import WaterReport
from tubwater.services.tubfile import UnitSystem
from tubwater.tub import Expectation, Quantity

WATER = WaterReport(
    (Expectation(Quantity.BROMINE, 2.53, 1.38, 4.6), Expectation(Quantity.TOTAL_ALKALINITY, 82.7, 47.1, 123.0)),
    (-0.8, 0.1, 0.89),
    Lime.LEFT,
    (-13.0, 2.0, 22.0),
    (1013.0, 1197.0, 1412.0),
    (),
)


def test_each_figure_stands_with_its_doubt() -> None:
    told = render_water(WATER)
    for words in ("bromine 2.5 (1.4 to 4.6) mg/L", "total alkalinity 83 (47 to 120) mg/L", "+0.1 (-0.8 to +0.9)"):
        assert words in told
    assert "1200 L of water in the tub (1000 L to 1400 L)" in told
    assert "The readings fit together." in told
    assert all(len(line) <= 80 for line in told.splitlines())


def test_readings_that_do_not_fit_are_named() -> None:
    told = render_water(replace(WATER, suspects=("pH", "total alkalinity")), UnitSystem.US)
    assert "do not fit together: pH, total alkalinity. Test again." in told
    assert "US gal" in told and " L of water" not in told


@pytest.mark.parametrize("chosen", Language)
def test_each_thing_lime_can_do_has_its_words(chosen: Language) -> None:
    with speaking(chosen):
        assert {lime.value for lime in Lime} <= set(kinds("lime"))


@pytest.mark.parametrize(
    ("index", "lime"),
    [
        ([0.5] * 10, Lime.LAID_DOWN),
        ([0.5] * 6 + [0.0] * 4, Lime.RATHER_LAID_DOWN),
        ([-1.0] * 9 + [0.0], Lime.TAKEN),
        ([-1.0] * 6 + [0.5] * 4, Lime.RATHER_TAKEN),
        ([-1.0] * 4 + [0.5] * 4 + [0.0] * 2, Lime.LEFT),
    ],
)
def test_lime_is_told_as_far_as_the_believed_waters_agree(index: list[float], lime: Lime) -> None:
    assert lime_of(np.array(index)) is lime
