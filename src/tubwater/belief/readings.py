"""What is heard of each member: readings, and litres metered in at a fill.

Hearing has two halves: ``predictions`` are what a perfect instrument would show of the water (rows), and ``told``
is how likely that makes what was entered. The second half is cheap, and works as well on guessed rows.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from tubwater.belief.life import Moment
from tubwater.belief.observe import Observer
from tubwater.facts.quantity import Quantity
from tubwater.measurement import ReadingContext, blunder_probability, log_likelihood
from tubwater.tub import Filled, Reading, Tested

__all__ = ["KIT_SHARE", "METER", "context_of", "kit_name", "own_rows", "predictions", "suspects", "told"]

Array = NDArray[np.float64]
KIT_SHARE = 0.6  # of a method's one-sigma that stays the same from test to test (judgement)
_SUSPECT, _PART = 0.5, 0.15  # probability of a blunder among the readings, and of each that is named (judgement)
METER = 0.03  # relative one-sigma of litres metered in (judgement)


def kit_name(reading: Reading) -> str:
    """The lasting offset that a reading shares with others of its kit."""
    return f"kit {reading.method} {reading.quantity}"


def predictions(update: Tested | Filled, now: Moment, observer: Observer | None) -> Array:
    """The true values behind an update, (rows, N): what ``context_of`` asks for, then each reading's; or the litres."""
    if isinstance(update, Filled) or observer is None:
        return now.rates.litres[None]
    own = [observer.read(r.quantity) for r in update.readings]
    return np.stack([observer.read(Quantity.BROMINE), observer.monopersulfate, observer.chlorine, *own])


def own_rows(rows: Array) -> Array:
    """Of the predictions for a test, each reading's own true values."""
    return rows[3:]


def told(update: Tested | Filled, rows: Array, offsets: Mapping[str, Array]) -> Array:
    """log P of an update given the true values, (N,)."""
    total = np.zeros(rows.shape[1])
    if isinstance(update, Filled):
        return total if update.litres is None else -0.5 * np.square((update.litres / rows[0] - 1.0) / METER)
    for reading, row in zip(update.readings, own_rows(rows), strict=True):
        total += log_likelihood(reading, row, context_of(rows, offsets[kit_name(reading)]))
    return np.maximum(total, -1e6)


def suspects(tested: Tested, rows: Array, offsets: Mapping[str, Array]) -> tuple[str, ...]:
    """Quantities whose readings are blunders more likely than not, given all the others.

    Of what all members hold to be the same (the set temperature, a substance that never went in) the belief knows
    nothing better than the reading.
    """
    found: dict[str, float] = {}
    sound = np.ones(rows.shape[1])
    for r, row in zip(tested.readings, own_rows(rows), strict=True):
        if np.ptp(row) > 0.0:
            share = blunder_probability(r, row, context_of(rows, offsets[kit_name(r)]))
            found[str(r.quantity)] = max(found.get(str(r.quantity), 0.0), float(np.mean(share)))
            sound = sound * (1.0 - share)
    doubted = float(np.mean(sound)) <= 1.0 - _SUSPECT
    return tuple(name for name, p in found.items() if p > _PART) if doubted else ()


def context_of(rows: Array, offset: Array) -> ReadingContext:
    """What a likelihood must know beside a reading: the predictions and the lasting offset of its kit."""
    bromine, monopersulfate, chlorine = rows[:3]
    return ReadingContext(bromine, chlorine, monopersulfate, KIT_SHARE * offset, KIT_SHARE)
