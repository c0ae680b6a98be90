"""A dose of which nobody is sure leaves two waters open, until a test tells them apart."""

from __future__ import annotations

from datetime import timedelta

import numpy as np

from belief.histories import NOW, PRODUCTS, TUB
from belief.waters import a_reading
from tubwater.belief import Observer, believe
from tubwater.facts.quantity import Quantity
from tubwater.tub import Dosed, Event
from tubwater.tub import Tested as Readings

BEFORE, AT, AFTER = (NOW - timedelta(hours=hours) for hours in (4.0, 3.0, 1.0))
GRAMS = 80.0


def a_test(at, ph: float) -> Readings:  # type: ignore[no-untyped-def]
    rows = (
        a_reading(Quantity.BROMINE, 4.05, "fas-dpd-drops"),
        a_reading(Quantity.PH, ph, "electrode"),
        a_reading(Quantity.TOTAL_ALKALINITY, 100.0, "drop-titration"),
    )
    return Readings(at, rows[: 3 if at == BEFORE else 2])


def ph_after(*events: Event) -> np.ndarray:
    belief = believe(TUB, PRODUCTS, [a_test(BEFORE, 7.6), *events], NOW, seed=1, members=400)
    return Observer(belief.state).read(Quantity.PH)


def acid(certain: bool) -> Dosed:
    return Dosed(AT, "dry acid", GRAMS, 0.08, certain)


def test_both_waters_stay_open() -> None:
    without, given, unsure = ph_after(), ph_after(acid(True)), ph_after(acid(False))
    middle = 0.5 * (np.median(without) + np.median(given))
    assert np.median(without) - np.median(given) > 0.5
    assert 0.35 < np.mean(unsure < middle) < 0.65
    low, high = np.quantile(unsure, (0.05, 0.95))
    assert low < np.median(given) and high > np.median(without)


def test_the_next_test_tells_them_apart() -> None:
    without, given = np.median(ph_after()), np.median(ph_after(acid(True)))
    for truth, other in ((without, given), (given, without)):
        told = ph_after(acid(False), a_test(AFTER, round(float(truth), 2)))
        assert np.mean(np.abs(told - truth) < np.abs(told - other)) > 0.97
