"""What the services need from outside: a place for entries and for snapshots, a clock, and fresh names.

An entry is written once and never changed. Its body has the form of the tables of a keeper's file, as it was entered.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from types import MappingProxyType
from typing import Any, Protocol

__all__ = ["HAPPENINGS", "Clock", "Entry", "EntryStore", "Kind", "Names", "SnapshotStore", "Source", "Stored"]


class Kind(StrEnum):
    """What an entry says. The happenings have the names of the tables in a keeper's file."""

    TUB = "tub"  # body: {"tub": {...}, "units": ...}, the whole description; the newest counts
    SHELF = "shelf"  # body: {"product": [...]}, the whole shelf; the newest counts
    TEST = "test"
    DOSED = "dosed"
    SOAKED = "soaked"
    FILLED = "filled"
    DRAINED = "drained"
    FEEDER = "feeder"
    NOTICED = "noticed"
    CARED = "cared"
    SAMPLED = "sampled"
    APPOINTED = "appointed"
    SOURCE_WATER = "source_water"
    OPENING_HOURS = "opening_hours"
    CLOSED = "closed"
    REOPENED = "reopened"
    SIGNED = "signed"  # body: a table of a keeper's file; never corrected and never withdrawn
    CORRECTED = "corrected"  # body: {"entry": id, "body": {...}}
    WITHDRAWN = "withdrawn"  # body: {"entry": id, "why": text}
    SHOWN = "shown"  # body: {"what": "verdict" or "plan", "model": version, "value": {...}}; never computed again
    VISIT = "visit"  # body: {"visit": id, "what": ..., ...}, one thing that happened in a visit


HAPPENINGS = (
    *(Kind.TEST, Kind.DOSED, Kind.SOAKED, Kind.FILLED, Kind.DRAINED, Kind.FEEDER),
    *(Kind.NOTICED, Kind.CARED),
    *(Kind.SAMPLED, Kind.APPOINTED, Kind.SOURCE_WATER, Kind.OPENING_HOURS),
    *(Kind.CLOSED, Kind.REOPENED),
)


@dataclass(frozen=True)
class Source:
    """By whom and from where: an account or "", a device or "", its own count and clock when it sent."""

    actor: str = ""
    device: str = ""
    sequence: int | None = None
    sent: datetime | None = None


@dataclass(frozen=True)
class Entry:
    """One entry of a logbook.

    Attributes:
        id: made by whoever enters it, so that a repeat is harmless. tub: id of the tub.
        happened: when it happened, aware. body: as entered; plain JSON values only.
        after: for tub and shelf, the id of the entry that the change was made from; "" for the first.
    """

    id: str
    tub: str
    kind: Kind
    happened: datetime
    body: Mapping[str, Any] = field(default_factory=lambda: MappingProxyType({}))
    source: Source = field(default_factory=Source)
    after: str = ""


@dataclass(frozen=True)
class Stored:
    """An entry as it was kept: when it was recorded (aware), and whether it was there before."""

    entry: Entry
    recorded: datetime
    repeated: bool = False


class EntryStore(Protocol):
    """Keeps entries. What it has acknowledged is never lost."""

    def append(self, entries: Sequence[Entry], recorded: datetime) -> list[Stored]:
        """Keep entries, all or none; one whose id is known is handed back as it was kept.

        Raises:
            Conflict: an id is known with another content, or ``after`` of a tub or shelf entry is not the newest one.
            InputError: a name or time that no place can keep. StoreUnavailable: nothing was kept, and why.
        """
        ...

    def take_in(self, entries: Sequence[Stored]) -> list[Stored]:
        """As ``append``, each with the time at which it was recorded elsewhere: for what comes from another place."""
        ...

    def of(self, tub: str) -> list[Stored]:
        """All entries of a tub in the order they were recorded."""
        ...

    def tubs(self) -> list[str]:
        """The ids of all tubs."""
        ...


class SnapshotStore(Protocol):
    """Keeps beliefs by key. It may forget anything at any time."""

    def get(self, key: str) -> bytes | None:
        """What was kept, or None."""
        ...

    def put(self, key: str, value: bytes) -> None:
        """Keep it."""
        ...


class Clock(Protocol):
    """Tells the time."""

    def now(self) -> datetime:
        """Now, aware."""
        ...


class Names(Protocol):
    """Makes names that nobody has yet."""

    def fresh(self) -> str:
        """A new id."""
        ...
