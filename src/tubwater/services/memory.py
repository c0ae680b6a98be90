"""Stores that hold everything in memory: for a try, for tests, and as the plainest statement of what a store does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from threading import Lock
from uuid import uuid4

from tubwater.errors import Conflict, InputError, Problem
from tubwater.services.ports import Entry, Kind, SnapshotStore, Stored
from tubwater.tub.data import as_data

__all__ = [
    "MemoryEntries",
    "MemorySnapshots",
    "RandomNames",
    "SnapshotsAside",
    "SystemClock",
    "check_order",
    "check_text",
    "same_content",
]

_LONGEST = 100  # characters of a name


class MemoryEntries:
    """An ``EntryStore`` that forgets at the end of the process."""

    def __init__(self) -> None:
        self._kept: dict[str, Stored] = {}
        self._lock = Lock()

    def append(self, entries: Sequence[Entry], recorded: datetime) -> list[Stored]:
        """See ``EntryStore``."""
        return self.take_in([Stored(entry, recorded) for entry in entries])

    def take_in(self, entries: Sequence[Stored]) -> list[Stored]:
        """See ``EntryStore``."""
        for stored in entries:
            check_text(stored.entry)
        with self._lock:
            before, answer = dict(self._kept), []
            try:
                for stored in entries:
                    answer.append(self._one(stored.entry, stored.recorded))
            except Conflict:
                self._kept = before
                raise
            return answer

    def _one(self, entry: Entry, recorded: datetime) -> Stored:
        known = self._kept.get(entry.id)
        if known:
            if not same_content(known.entry, entry):
                raise Conflict("entry", entry.id)
            return replace(known, repeated=True)
        check_order(entry, self.of(entry.tub))
        self._kept[entry.id] = Stored(entry, recorded)
        return self._kept[entry.id]

    def of(self, tub: str) -> list[Stored]:
        """See ``EntryStore``."""
        return [s for s in list(self._kept.values()) if s.entry.tub == tub]

    def tubs(self) -> list[str]:
        """See ``EntryStore``."""
        return list(dict.fromkeys(s.entry.tub for s in list(self._kept.values())))


def check_order(entry: Entry, present: Sequence[Stored]) -> None:
    """A change of tub or shelf has to come from the newest one.

    Raises:
        Conflict: it was made from an older one.
    """
    if entry.kind in (Kind.TUB, Kind.SHELF):
        newest = next((s.entry.id for s in reversed(present) if s.entry.kind is entry.kind), "")
        if newest != entry.after:
            raise Conflict(str(entry.kind), newest)


def same_content(one: Entry, other: Entry) -> bool:
    """Whether an entry says what one of the same id said; from where it came and when does not matter."""
    return (one.tub, one.kind, as_data(one.body)) == (other.tub, other.kind, as_data(other.body))


def check_text(entry: Entry) -> None:
    """What no place can keep.

    Raises:
        InputError: a name that is empty, too long or cannot be printed, a time without its offset, a count too large.
    """
    source = entry.source
    names = {"id": entry.id, "tub": entry.tub, "actor": source.actor, "device": source.device, "after": entry.after}
    problems = [
        Problem(name, ascii(text[:_LONGEST]), f"a name of at most {_LONGEST} characters that can be printed")
        for name, text in names.items()
        if len(text) > _LONGEST or not text.isprintable() or (name in ("id", "tub") and not text)
    ]
    times = {"at": entry.happened, "sent": source.sent or entry.happened}
    problems += [Problem(n, str(t), "a time with its offset") for n, t in times.items() if t.utcoffset() is None]
    if source.sequence is not None and not 0 <= source.sequence < 2**63:
        problems.append(Problem("sequence", str(source.sequence), "a count from 0 on"))
    if problems:
        raise InputError(problems)


class MemorySnapshots:
    """A ``SnapshotStore`` that forgets at the end of the process, and the oldest beyond ``most``."""

    def __init__(self, most: int = 256) -> None:
        self._kept: dict[str, bytes] = {}
        self._most = most

    def get(self, key: str) -> bytes | None:
        """See ``SnapshotStore``."""
        return self._kept.get(key)

    def put(self, key: str, value: bytes) -> None:
        """See ``SnapshotStore``."""
        self._kept[key] = value
        while len(self._kept) > self._most:
            self._kept.pop(next(iter(self._kept)))


class SnapshotsAside(MemorySnapshots):
    """What others kept can be read, and stays as it is: for a past that goes on in a way that may never happen."""

    def __init__(self, others: SnapshotStore, most: int = 16) -> None:
        super().__init__(most)
        self._others = others

    def get(self, key: str) -> bytes | None:
        """See ``SnapshotStore``."""
        return super().get(key) or self._others.get(key)


class SystemClock:
    """The clock of this machine."""

    def now(self) -> datetime:
        """See ``Clock``."""
        return datetime.now(UTC)


class RandomNames:
    """Random names (UUID, version 4)."""

    def fresh(self) -> str:
        """See ``Names``."""
        return str(uuid4())
