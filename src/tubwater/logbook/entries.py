"""Entries in the database."""

from __future__ import annotations

import json
from collections import OrderedDict
from collections.abc import Iterator, Sequence
from datetime import datetime
from hashlib import blake2b
from threading import Lock
from typing import Any, TypeVar

from sqlalchemy import Connection, func, insert, select

from tubwater.errors import Conflict
from tubwater.logbook.engine import Database
from tubwater.logbook.tables import entry as table
from tubwater.services.memory import check_text, same_content
from tubwater.services.ports import Entry, Kind, Source, Stored
from tubwater.tub.data import as_data

__all__ = ["SqlEntries", "lock_key", "row_of", "stored_of"]

_TUBS = 32  # of which the entries stay in memory
_CHUNK = 500  # an old SQLite takes 999 values in one statement
_Item = TypeVar("_Item")


class SqlEntries:
    """An ``EntryStore`` in a database.

    What was read once of a tub is not read again: rows are only ever added, those of one tub in the order of places.
    """

    def __init__(self, database: Database) -> None:
        self._database = database
        self._read: OrderedDict[str, tuple[int, list[Stored]]] = OrderedDict()
        self._lock = Lock()

    def append(self, entries: Sequence[Entry], recorded: datetime) -> list[Stored]:
        """See ``EntryStore``."""
        return self.take_in([Stored(entry, recorded) for entry in entries])

    def take_in(self, entries: Sequence[Stored]) -> list[Stored]:
        """See ``EntryStore``."""
        for stored in entries:
            check_text(stored.entry)
        return self._database.write(lambda connection: _Append(connection).all(entries)) if entries else []

    def of(self, tub: str) -> list[Stored]:
        """See ``EntryStore``."""
        last, known = self._read.get(tub, (0, []))
        query = select(table).where(table.c.tub == tub, table.c.place > last).order_by(table.c.place)
        rows = self._database.read(lambda connection: list(connection.execute(query)))
        if rows:
            last, known = rows[-1].place, [*known, *map(stored_of, rows)]
        self._keep(tub, last, known)
        return list(known)

    def _keep(self, tub: str, last: int, known: list[Stored]) -> None:
        with self._lock:
            self._read[tub] = (last, known)
            self._read.move_to_end(tub)
            if len(self._read) > _TUBS:
                self._read.popitem(last=False)

    def tubs(self) -> list[str]:
        """See ``EntryStore``."""
        query = select(table.c.tub).group_by(table.c.tub).order_by(func.min(table.c.place))
        return self._database.read(lambda connection: list(connection.execute(query).scalars()))


class _Append:
    """One transaction that appends; what the database holds is asked for once, then kept up here."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection
        self._known: dict[str, Stored] = {}
        self._newest: dict[tuple[str, Kind], str] = {}

    def all(self, entries: Sequence[Stored]) -> list[Stored]:
        """Every entry as it is kept now."""
        self._lock(sorted({s.entry.tub for s in entries}))
        self._look_up([s.entry.id for s in entries])
        answer = [self._one(stored) for stored in entries]
        new = [row_of(stored) for stored in answer if not stored.repeated]
        if new:
            self._connection.execute(insert(table), new)
        return answer

    def _one(self, stored: Stored) -> Stored:
        entry = stored.entry
        known = self._known.get(entry.id)
        if known:
            if not same_content(known.entry, entry):
                raise Conflict("entry", entry.id)
            return Stored(known.entry, known.recorded, repeated=True)
        if entry.kind in (Kind.TUB, Kind.SHELF):
            self._follow(entry)
        self._known[entry.id] = stored
        return stored

    def _follow(self, entry: Entry) -> None:
        key = (entry.tub, entry.kind)
        if key not in self._newest:
            self._newest[key] = self._ask_newest(entry)
        if self._newest[key] != entry.after:
            raise Conflict(str(entry.kind), self._newest[key])
        self._newest[key] = entry.id

    def _ask_newest(self, entry: Entry) -> str:
        here = (table.c.tub == entry.tub) & (table.c.kind == str(entry.kind))
        query = select(table.c.id).where(here).order_by(table.c.place.desc()).limit(1)
        return self._connection.execute(query).scalar() or ""

    def _look_up(self, ids: Sequence[str]) -> None:
        for some in _chunks(ids):
            for row in self._connection.execute(select(table).where(table.c.id.in_(some))):
                self._known[row.id] = stored_of(row)

    def _lock(self, tubs: Sequence[str]) -> None:
        """Of two who write to one tub, the second waits, so that the order of places is the order of recording.

        SQLite has locked the whole file already.
        """
        if self._connection.dialect.name == "postgresql":
            for key in sorted(lock_key(tub) for tub in tubs):
                self._connection.execute(select(func.pg_advisory_xact_lock(key)))


def lock_key(tub: str) -> int:
    """The number under which PostgreSQL locks a tub."""
    return int.from_bytes(blake2b(tub.encode(), digest_size=8).digest(), "big", signed=True)


def _chunks(items: Sequence[_Item]) -> Iterator[Sequence[_Item]]:
    for start in range(0, len(items), _CHUNK):
        yield items[start : start + _CHUNK]


def row_of(stored: Stored) -> dict[str, Any]:
    """An entry as a row."""
    entry, source = stored.entry, stored.entry.source
    return {
        "id": entry.id,
        "tub": entry.tub,
        "kind": str(entry.kind),
        "happened": entry.happened,
        "recorded": stored.recorded,
        "actor": source.actor,
        "device": source.device,
        "sequence": source.sequence,
        "sent": source.sent,
        "body": json.dumps(as_data(entry.body), allow_nan=False, separators=(",", ":")),
        "after": entry.after,
    }


def stored_of(row: Any) -> Stored:
    """A row as an entry."""
    source = Source(row.actor, row.device, row.sequence, row.sent)
    entry = Entry(row.id, row.tub, Kind(row.kind), row.happened, json.loads(row.body), source, row.after)
    return Stored(entry, row.recorded)
