"""Which better test would be worth the trouble: hours in band that its answer is expected to add.

The value of information on a utility matrix [plan, tub]: for each tub a reading is drawn, the tubs are weighted
by it, the plan that is then best is taken; its hours in band less what the same sum gives for a reading of another
tub, which carries no information (Raiffa & Schlaifer, Applied Statistical Decision Theory, 1961; from memory). The
plan is chosen by all that it is worth, what it gains is told in hours only.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tubwater.advice.decide import Decision
from tubwater.advice.now import Situation
from tubwater.facts import methods
from tubwater.facts.quantity import Quantity
from tubwater.measurement import sd_of
from tubwater.tub import BetterTest, Sanitizer

__all__ = ["better_tests", "value_of_reading"]

Array = NDArray[np.float64]
_HOURS_PER_WEEK = 168.0
_WORTH = 3.0  # h a week; less is not worth the trouble (judgement)
_AT_MOST = 2


def better_tests(case: Situation, decision: Decision) -> tuple[BetterTest, ...]:
    """Tests with a finer method than the keeper's that are worth the trouble, best first."""
    found = [test for quantity, method in _finer(case).items() if (test := _worth(case, decision, quantity, method))]
    return tuple(sorted(found, key=lambda test: -test.hours_per_week)[:_AT_MOST])


def _finer(case: Situation) -> dict[Quantity, str]:
    bromine = case.tub.sanitizer is Sanitizer.BROMINE
    sanitizer = {Quantity.BROMINE: "fas-dpd-drops"} if bromine else {Quantity.FREE_CHLORINE: "fas-dpd-drops"}
    return sanitizer | {Quantity.PH: "photometer", Quantity.TOTAL_ALKALINITY: "drop-titration"}


def _worth(case: Situation, decision: Decision, quantity: Quantity, method: str) -> BetterTest | None:
    reading = case.last_valid(quantity)
    trials = decision.trials
    if trials is None or (reading is not None and reading.method == method):
        return None
    truth = case.observer.read(quantity)[trials.members]
    sd = float(sd_of(methods()[method].quantities[quantity], np.median(truth)))
    hours = _HOURS_PER_WEEK * value_of_reading(trials.utility, trials.in_band, truth, sd)
    return BetterTest(quantity, method, hours) if hours >= _WORTH else None


def value_of_reading(utility: Array, in_band: Array, truth: Array, sd: float) -> float:
    """Expected gain of hours in band by a reading with one-sigma ``sd``, as a share of all hours, at least 0.

    Args:
        utility, in_band: [plan, tub], what a plan is chosen by, and its share of hours. truth: the quantity of each
            tub. sd: in the unit of ``truth``.
    """
    rng = np.random.default_rng(len(truth))
    noise = sd * rng.standard_normal(len(truth))
    informed = _gained(utility, in_band, truth, truth + noise, sd)
    shuffled = rng.permutation(truth)
    blind = _gained(utility, in_band, shuffled, shuffled + noise, sd)
    return max(informed - blind, 0.0)


def _gained(utility: Array, in_band: Array, truth: Array, reading: Array, sd: float) -> float:
    """Mean share of hours where each tub's plan is the best under the weights of its reading, itself left out."""
    weights = np.exp(-0.5 * ((reading[:, None] - truth[None, :]) / sd) ** 2)
    np.fill_diagonal(weights, 0.0)
    weights /= np.maximum(weights.sum(axis=1, keepdims=True), 1e-300)
    best = np.argmax(weights @ utility.T, axis=1)
    return float(np.mean(in_band[best, np.arange(len(truth))]))
