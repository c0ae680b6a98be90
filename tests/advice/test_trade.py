"""What the trade does by habit, against what comes out of the computation (common practice)."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from tubwater.advice import Wishes
from tubwater.advice.decide import decide, kit_of
from tubwater.dynamics import Rates
from tubwater.facts import Quantity
from tubwater.facts.quantity import OxidantScale
from tubwater.services.advise import case_of
from tubwater.tub import Clarity, Noticed, Product, Reading, Sanitizer, Shelf, Tub
from tubwater.tub import Tested as Readings

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
SHELF = Shelf((Product("oxidizer", "monopersulfate", 0.88), Product("tablets", "bcdmh", 0.96, tablet_grams=20.0)))
NO_OXIDIZER = {"oxidizer": 0.0, "after_soak": 0.0}


def good_test() -> list[Noticed | Readings]:
    bromine = Reading(Quantity.BROMINE, 4.0, 4.0, "mg/L", "photometer", NOW, OxidantScale.AS_BR2)
    rest = [(Quantity.PH, 7.5, "pH"), (Quantity.TOTAL_ALKALINITY, 90.0, "mg/L")]
    found = [Reading(q, v, v, unit, "photometer" if q is Quantity.PH else "drop-titration", NOW) for q, v, unit in rest]
    return [Noticed(NOW, Clarity.CLEAR), Readings(NOW, (bromine, *found))]


def dissolved_share(rates: Rates, grams: float, opening: float, days: int = 7) -> np.ndarray:
    """Share of the load that is gone after some days, hour by hour."""
    left = np.full(rates.release.shape, grams)
    for _ in range(24 * days):
        left -= rates.release * grams / 20.0 * opening * (left / grams) ** rates.release_exponent
        left = np.maximum(left, 0.0)
    share: np.ndarray = 1.0 - left / grams
    return share


@pytest.mark.parametrize("litres", [1200.0, 1400.0, 1600.0])
def test_an_ordinary_tub_without_a_dose_after_soaks_gets_three_to_five_tablets_a_week(litres: float) -> None:
    tub = Tub("cabin", litres, Sanitizer.BROMINE, soaks_per_week=3.5, people_per_soak=2.0, minutes_per_soak=30.0)
    case = case_of(tub, SHELF, good_test(), NOW)
    draws = (decide(case, kit_of(case), Wishes(), np.random.default_rng(n), NO_OXIDIZER).levers for n in (1, 2, 3))
    loads = sorted((levers["tablet_grams"], levers["opening"]) for levers in draws)
    grams, opening = loads[1]  # the middle one: neighbouring loads are as good, and the draw decides
    assert 3 <= round(grams / 20.0) <= 5
    middle = float(np.median(dissolved_share(case.rates, grams, opening)))
    assert 0.2 < middle < 0.7  # about a third to a half dissolves in a week; the rest is next week's
