"""What a look into the feeder tells: how fast the tablets dissolve, and nothing of the water."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest

from belief.histories import NOW, TUB
from belief.waters import a_reading
from tubwater.belief import believe
from tubwater.facts.quantity import Quantity
from tubwater.services import products_of
from tubwater.tub import Event, FeederSet, Product, Reading, Shelf
from tubwater.tub import Tested as Readings

PRODUCTS = products_of(Shelf((Product("tablets", "bcdmh", 0.96, tablet_grams=20.0),)))
WEEKS = tuple(NOW - timedelta(weeks=n) for n in (3, 2, 1, 0))


def look(left: float, at: datetime) -> Reading:
    return Reading(Quantity.TABLETS_LEFT, left, left, "%", "feeder-by-eye", at)


def release(left: float | None) -> np.ndarray:
    """Believed release of a fresh tablet, g/h, after three weeks of two tablets, half open, anew each week."""
    events: list[Event] = []
    for at in WEEKS:
        rows = [a_reading(Quantity.BROMINE, 3.15, "fas-dpd-drops")]
        if left is not None and at != WEEKS[0]:
            rows.append(look(left, at))
        events += [Readings(at, tuple(rows)), FeederSet(at + timedelta(minutes=30), "tablets", 2.0, 0.5)]
    rates = believe(TUB, PRODUCTS, events, NOW, seed=1, members=600).rates
    return np.asarray(rates.release)


def spread(values: np.ndarray) -> float:
    low, high = np.quantile(values, (0.05, 0.95))
    return float(np.log(high / low))


def test_a_look_narrows_what_the_tablets_give_off() -> None:
    assert spread(release(75.0)) < 0.8 * spread(release(None))


@pytest.mark.parametrize("left", [25.0, 50.0, 75.0])
def test_the_release_is_the_one_that_leaves_so_much(left: float) -> None:
    """Against the rate law by hand: the loss goes with the power two thirds of what is left, as of a shrinking ball."""
    share = left / 100.0
    hourly = 20.0 * 3.0 * (1.0 - share ** (1.0 / 3.0)) / (0.5 * 168.0)
    assert np.median(release(left)) == pytest.approx(hourly, rel=0.3)


def test_without_tablets_a_look_says_nothing() -> None:
    looked = Readings(NOW, (look(50.0, NOW),))
    bare = replace(looked, readings=())
    heard, prior = (believe(TUB, PRODUCTS, [test], NOW, seed=1, members=300) for test in (looked, bare))
    assert heard.suspects == ()
    assert np.median(heard.rates.release) == pytest.approx(float(np.median(prior.rates.release)), rel=0.15)
