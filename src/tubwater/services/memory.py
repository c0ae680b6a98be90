"""Stores that hold everything in memory: for a try, for tests, and as the plainest statement of what a store does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from threading import Lock
from uuid import uuid4

from tubwater.errors import Conflict
from tubwater.services.ports import Entry, Kind, Stored

__all__ = ["MemoryEntries", "MemorySnapshots", "RandomNames", "SystemClock", "check_order"]


class MemoryEntries:
    """An ``EntryStore`` that forgets at the end of the process."""

    def __init__(self) -> None:
        self._kept: dict[str, Stored] = {}
        self._lock = Lock()

    def append(self, entries: Sequence[Entry], recorded: datetime) -> list[Stored]:
        """See ``EntryStore``."""
        with self._lock:
            before, answer = dict(self._kept), []
            try:
                for entry in entries:
                    answer.append(self._one(entry, recorded))
            except Conflict:
                self._kept = before
                raise
            return answer

    def _one(self, entry: Entry, recorded: datetime) -> Stored:
        known = self._kept.get(entry.id)
        if known:
            if (known.entry.tub, known.entry.kind, known.entry.body) != (entry.tub, entry.kind, entry.body):
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
