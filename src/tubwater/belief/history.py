"""The past as a line of happenings: what was entered, and the places where something unseen may have happened.

Each has an identity made of what it is and when, never of its place in the line. Random numbers are drawn from the
seed, the identity and a purpose, so that a late entry leaves the numbers of all others alone.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass
from datetime import UTC, datetime, timedelta
from enum import StrEnum
from typing import Any

import numpy as np

from tubwater.belief.prior import DRIFTING, FILL
from tubwater.tub import Answer, Dosed, Event, Filled, Noticed, Soaked, Tested

__all__ = ["Happening", "Slot", "chained", "digest", "happenings", "stream"]

_HALF_WEEK = timedelta(days=3.5)
_ORIGIN = datetime(2000, 1, 3, 13, tzinfo=UTC)  # any fixed moment; the slots lie on a grid from here


class Slot(StrEnum):
    """Something that nobody entered, at fixed places of the calendar."""

    DRIFT = "drift"  # half a week has passed: the tub is a little different
    LID = "lid"  # the cover may have been left open
    SOAK = "soak"  # somebody may have been in


@dataclass(frozen=True)
class Happening:
    """One place of the line. ``draws``: how many normal numbers per member stand for what is not known of it."""

    at: datetime
    what: Event | Slot
    identity: str
    draws: int


def happenings(events: Sequence[Event], until: datetime) -> tuple[Happening, ...]:
    """The line up to ``until``: entered events in order of time, and the slots from the first of them on.

    A test without a reading says nothing, and is left out.
    """
    past = sorted((e for e in events if e.at <= until and _says(e)), key=lambda e: e.at)
    if not past:
        return ()
    found = [*_entered(past), *_slots(past[0].at, until)]
    return tuple(sorted(found, key=lambda h: h.at))


def _says(event: Event) -> bool:
    return not isinstance(event, Tested) or bool(event.readings)


def _entered(events: Sequence[Event]) -> Iterator[Happening]:
    seen: dict[str, int] = {}
    for event in events:
        name = digest(event)
        seen[name] = seen.get(name, 0) + 1
        yield Happening(event.at, event, f"{name}:{seen[name]}", _draws(event))


def _draws(event: Event) -> int:
    if isinstance(event, Dosed):
        return 1 if event.certain else 2
    if isinstance(event, Filled):
        return len(FILL)
    return int(isinstance(event, Soaked) or (isinstance(event, Noticed) and event.unlogged_soak is not Answer.NO))


def _slots(since: datetime, until: datetime) -> Iterator[Happening]:
    """Twice a week drift, and a soak that nobody noted; once a week a cover left open."""
    first = int((since - _ORIGIN) // _HALF_WEEK) + 1
    last = int((until - _ORIGIN) // _HALF_WEEK)
    for k in range(first, last + 1):
        at = _ORIGIN + k * _HALF_WEEK
        yield Happening(at, Slot.SOAK, f"{Slot.SOAK}:{k}", 1)
        yield Happening(at, Slot.DRIFT, f"{Slot.DRIFT}:{k}", len(DRIFTING))
        if k % 2:
            yield Happening(at, Slot.LID, f"{Slot.LID}:{k}", 1)


def digest(*values: Any) -> str:
    """A name for plain values, the same in every process."""
    whole = hashlib.sha256()
    for value in values:
        whole.update(_plain(value).encode())
    return whole.hexdigest()[:32]


def chained(before: str, *values: Any) -> str:
    """The name of a history: what was before, and what came then."""
    return digest(before, *values)


def _plain(value: Any) -> str:
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    if is_dataclass(value) and not isinstance(value, type):
        inner = ",".join(f"{f.name}={_plain(getattr(value, f.name))}" for f in fields(value))
        return f"{type(value).__name__}({inner})"
    if isinstance(value, frozenset | set):
        return "{" + ",".join(sorted(_plain(v) for v in value)) + "}"
    if isinstance(value, Mapping):
        return "{" + ",".join(sorted(f"{_plain(k)}:{_plain(v)}" for k, v in value.items())) + "}"
    if isinstance(value, np.ndarray):
        return np.ascontiguousarray(value).tobytes().hex()
    if isinstance(value, Sequence) and not isinstance(value, str):
        return "[" + ",".join(_plain(v) for v in value) + "]"
    return str(value) if isinstance(value, str) else repr(value)


def stream(seed: int, identity: str, purpose: str) -> np.random.Generator:
    """Random numbers for one purpose of one happening."""
    name = hashlib.sha256(f"{identity}|{purpose}".encode()).digest()
    return np.random.default_rng([seed, int.from_bytes(name[:8], "big")])
