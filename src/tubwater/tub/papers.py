"""What the record of a tub holds beside its events: laboratory samples, persons, source water, hours, closures by
order or for repair, signatures.

None of it moves the belief. Times are aware datetimes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time
from enum import StrEnum
from types import MappingProxyType

from tubwater.facts.quantity import Quantity
from tubwater.facts.record import Germ

__all__ = [
    "Appointed",
    "Closed",
    "ClosedWhy",
    "Count",
    "OpeningHours",
    "Paper",
    "Reopened",
    "Sampled",
    "Signed",
    "SourceWater",
]


@dataclass(frozen=True)
class Count:
    """What a laboratory found of a germ, between ``low`` and ``high``, in what it is counted in; "<10" is 0 to 10."""

    low: float
    high: float


@dataclass(frozen=True)
class Sampled:
    """A laboratory sample and what came of it.

    Attributes:
        at: when this was known; of a sample that waits for its result, when it was taken. taken: when it was taken.
        counts: what was found; empty while it waits. sanitizer, ph: read where and when it was taken, mg/L and pH.
    """

    at: datetime
    taken: datetime
    laboratory: str = ""
    report: str = ""
    point: str = ""
    counts: Mapping[Germ, Count] = field(default_factory=lambda: MappingProxyType({}))
    sanitizer: float | None = None
    ph: float | None = None


@dataclass(frozen=True)
class Appointed:
    """From then on this person answers for the checks; ``name`` "" says that nobody does."""

    at: datetime
    name: str
    qualification: str = ""


@dataclass(frozen=True)
class SourceWater:
    """What the water is that the tub is filled with: quantity to value (units of ``Quantity``), metals in mg/L."""

    at: datetime
    values: Mapping[Quantity, float] = field(default_factory=lambda: MappingProxyType({}))
    metals: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    solids: float | None = None  # dissolved solids, mg/L
    report: str = ""


@dataclass(frozen=True)
class OpeningHours:
    """From then on the tub is open so each day; an end before the begin is on the next day."""

    at: datetime
    opens: time
    closes: time


class ClosedWhy(StrEnum):
    """Why a tub was closed that no reading and no look had closed."""

    ORDER = "order"
    REPAIR = "repair"
    OTHER = "other"


@dataclass(frozen=True)
class Closed:
    """From then on nobody is let in, until ``Reopened``; ``by`` is who ordered it or repairs, or ""."""

    at: datetime
    why: ClosedWhy
    reason: str
    by: str = ""


@dataclass(frozen=True)
class Reopened:
    """What the tub was closed for is over; a test after it opens the tub. ``reason`` says what was done, or ""."""

    at: datetime
    reason: str = ""


@dataclass(frozen=True)
class Signed:
    """Somebody signed the sheet of a day. ``bathers`` is how many were in, where that was counted."""

    at: datetime
    day: date
    name: str
    bathers: float | None = None
    remark: str = ""


Paper = Sampled | Appointed | SourceWater | OpeningHours | Closed | Reopened | Signed
