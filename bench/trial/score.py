"""What counts: hours in band, each share alone, hours far out, longest run without, soaks wrongly allowed, grams."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .keeping import Choices, Kept

__all__ = ["BAND", "SHARES", "Scored", "entry_counts", "score"]

Array = NDArray[np.float64]
BAND = {"bromine": (2.0, 6.0), "pH": (7.2, 7.8), "alkalinity": (60.0, 120.0), "index": (-9.0, 0.3)}
_COLUMN = {"bromine": 2, "pH": 3, "alkalinity": 4, "index": 5}
SHARES = ("in band", "bromine", "pH", "alkalinity", "index", "below 1", "above 10", "below 2", "bromine 3-6")
_LATE = 4 * 168.0  # h; from the fifth week on
_ENTRY = (2.0, 10.0, 7.0, 8.0)  # true bromine and pH outside which a soak was wrongly allowed


@dataclass(frozen=True)
class Scored:
    """One tub kept by one policy. ``shares``: of the hours, by name and by span of weeks; ``entries``: by kind,
    ``late_entries`` from the fifth week on; ``covered``: readings inside the band made before them, and all."""

    shares: dict[str, dict[str, float]]
    longest_below_2: float
    grams: dict[str, float]
    tests: int
    visits: int
    weeks: int
    entries: dict[str, tuple[int, int, int]]
    late_entries: dict[str, tuple[int, int, int]]
    covered: dict[str, tuple[int, int]]
    mean_alkalinity: float


def score(kept: Kept, choices: Choices) -> Scored:
    """Count the hours of one life."""
    hours = np.array(kept.hours)
    flags = _flags(hours)
    week = np.ceil(hours[:, 0] / 168.0 - 1e-9)
    shares = {}
    for name, (first, last) in spans(choices.weeks).items():
        weight = hours[:, 1] * ((week >= first) & (week <= last))
        shares[name] = {key: float(np.average(flag, weights=weight)) for key, flag in flags.items()}
    return Scored(
        shares,
        _longest(hours, flags["below 2"]),
        kept.grams,
        kept.tests,
        kept.visits,
        choices.weeks,
        {kind: entry_counts(kept, i) for i, kind in enumerate(choices.entry)},
        {kind: entry_counts(kept, i, _LATE) for i, kind in enumerate(choices.entry)},
        dict(kept.covered),
        float(np.average(hours[:, 4], weights=hours[:, 1])),
    )


def spans(weeks: int) -> dict[str, tuple[int, int]]:
    """The spans of weeks that are told apart: all, the first four, the last four."""
    return {"all": (1, weeks), "first": (1, min(4, weeks)), "last": (max(1, weeks - 3), weeks)}


def _flags(hours: Array) -> dict[str, Array]:
    inside = {name: (hours[:, c] >= BAND[name][0]) & (hours[:, c] <= BAND[name][1]) for name, c in _COLUMN.items()}
    bromine = hours[:, 2]
    return {
        "in band": np.all(list(inside.values()), axis=0),
        **inside,
        "below 1": bromine < 1.0,
        "above 10": bromine > 10.0,
        "below 2": bromine < 2.0,
        "bromine 3-6": (bromine >= 3.0) & (bromine <= 6.0),
    }


def _longest(hours: Array, low: Array) -> float:
    """The longest run of hours with ``low``."""
    best = run = 0.0
    for length, bad in zip(hours[:, 1], low, strict=True):
        run = run + float(length) if bad else 0.0
        best = max(best, run)
    return best


def entry_counts(kept: Kept, kind: int, after: float = 0.0) -> tuple[int, int, int]:
    """Soaks wanted, allowed and wrongly allowed, after an hour of the trial."""
    asked = [row for row in kept.soaks if row[3 + kind] >= 0.0 and row[0] >= after]
    allowed = [row for row in asked if row[3 + kind] == 1.0]
    low, high, acid, base = _ENTRY
    wrong = [r for r in allowed if not (low <= r[1] <= high and acid <= r[2] <= base)]
    return len(asked), len(allowed), len(wrong)
