"""What readings say of each member."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tubwater.belief.life import Moment
from tubwater.belief.observe import Observer
from tubwater.facts.quantity import Quantity
from tubwater.measurement import ReadingContext, blunder_probability, log_likelihood
from tubwater.tub import Filled, Reading, Tested

__all__ = ["KIT_SHARE", "kit_name", "metered", "suspects", "told"]

Array = NDArray[np.float64]
KIT_SHARE = 0.6  # of a method's one-sigma that stays the same from test to test (judgement)
_SUSPECT = 0.5
_METER = 0.03  # relative one-sigma of litres metered in (judgement)


def kit_name(reading: Reading) -> str:
    """The lasting offset that a reading shares with others of its kit."""
    return f"kit {reading.method} {reading.quantity}"


def told(tested: Tested, now: Moment, observer: Observer) -> Array:
    """log P(readings | member), shape (N,)."""
    total = np.zeros(now.core.shape[1])
    for reading in tested.readings:
        total += log_likelihood(reading, observer.read(reading.quantity), _context(reading, now, observer))
    return np.maximum(total, -1e6)


def metered(filled: Filled, now: Moment) -> Array:
    """log density of the litres metered in at a fill, shape (N,)."""
    if filled.litres is None:
        return np.zeros(now.core.shape[1])
    value: Array = -0.5 * np.square((filled.litres / now.rates.litres - 1.0) / _METER)
    return value


def suspects(tested: Tested, now: Moment, observer: Observer) -> tuple[str, ...]:
    """Quantities whose readings are blunders more likely than not, given all the others."""
    found: dict[str, float] = {}
    for r in tested.readings:
        share = blunder_probability(r, observer.read(r.quantity), _context(r, now, observer))
        found[str(r.quantity)] = max(found.get(str(r.quantity), 0.0), float(np.mean(share)))
    whole = 1.0 - float(np.prod([1.0 - p for p in found.values()])) if found else 0.0
    return tuple(name for name, p in found.items() if p > 0.15) if whole >= _SUSPECT else ()


def _context(reading: Reading, now: Moment, observer: Observer) -> ReadingContext:
    return ReadingContext(
        bromine=observer.read(Quantity.BROMINE),
        monopersulfate=observer.monopersulfate,
        kit_bias=KIT_SHARE * now.offsets[kit_name(reading)],
        kit_share=KIT_SHARE,
    )
