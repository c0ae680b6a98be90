"""What was read last, what a test changed in the belief, and which of its readings look odd."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from tubwater.facts import methods
from tubwater.measurement import sd_of, standard_value
from tubwater.services.advise import WaterReport, case_of, water_of
from tubwater.services.effective import table_of
from tubwater.services.keeping import Keeping
from tubwater.services.tubfile import parse_table
from tubwater.tub import Event, Expectation, Quantity, Reading, Tested

__all__ = ["LastReading", "Odd", "last_readings", "odd_readings", "water_without"]

_ODD = 3.0  # one-sigmas of belief and method together, from which on a reading is asked about (judgement)
_FIFTH = 1.6449  # one-sigmas from the middle to the 5th percentile of a normal


@dataclass(frozen=True)
class LastReading:
    """What was read last of a quantity: an interval in its unit, infinite beyond a kit's scale."""

    quantity: Quantity
    low: float
    high: float
    method: str
    at: datetime


@dataclass(frozen=True)
class Odd:
    """A reading far from what was believed before it."""

    reading: LastReading
    believed: Expectation


def last_readings(events: Sequence[Event]) -> Mapping[Quantity, LastReading]:
    """The newest reading of each quantity."""
    tests = sorted((e for e in events if isinstance(e, Tested)), key=lambda e: e.at)
    return {r.quantity: _last(r) for test in tests for r in test.readings}


def _last(reading: Reading) -> LastReading:
    low, high = standard_value(reading)
    return LastReading(reading.quantity, low, high, reading.method, reading.at)


def odd_readings(before: WaterReport, readings: Collection[LastReading]) -> tuple[Odd, ...]:
    """Readings that lie far from the belief ``before`` them; they were kept and are asked about."""
    believed = {found.quantity: found for found in before.quantities}
    pairs = [(r, believed[r.quantity]) for r in readings if r.quantity in believed]
    return tuple(Odd(r, found) for r, found in pairs if _distance(r, found) > _ODD)


def _distance(reading: LastReading, believed: Expectation) -> float:
    """From the believed middle to the nearer end of what was read, in one-sigmas of both together."""
    middle = believed.median
    away = max(reading.low - middle, middle - reading.high, 0.0)
    half = believed.low if reading.high < middle else believed.high
    doubt = abs(half - middle) / _FIFTH
    return away / max(math.hypot(doubt, _method_sd(reading)), 1e-9)


def _method_sd(reading: LastReading) -> float:
    row = methods()[reading.method].quantities.get(reading.quantity)
    value = reading.low if math.isfinite(reading.low) else reading.high
    return float(sd_of(row, np.asarray(value))) if row else 0.0


def water_without(keeping: Keeping, tub: str, entries: Collection[str]) -> WaterReport:
    """What the water would be believed to be now, had some entries not been made."""
    rest = [s for s in keeping.entries(tub) if s.entry.id not in entries]
    now = keeping.clock.now()
    file = parse_table(table_of(rest), now)
    return water_of(case_of(file.tub, file.shelf, file.events, now, checkpoints=keeping.snapshots))
