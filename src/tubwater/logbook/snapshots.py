"""Beliefs that can be computed again, apart from the entries: their own file, or a table that may be dropped.

Whatever goes wrong here is as if nothing had been kept.
"""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

from sqlalchemy import Column, Connection, Integer, LargeBinary, MetaData, Table, Text, delete, insert, select

from tubwater.errors import StoreUnavailable
from tubwater.logbook.engine import Database, create_private, open_engine
from tubwater.logbook.faults import damaged
from tubwater.logbook.place import Place, place_of

__all__ = ["SqlSnapshots", "snapshots_place"]

_MOST_BYTES = 500_000_000
_PRUNE_EVERY = 50
_table = Table(
    "snapshot",
    MetaData(),
    Column("place", Integer, primary_key=True),
    Column("key", Text, nullable=False, unique=True),
    Column("value", LargeBinary, nullable=False),
    Column("size", Integer, nullable=False),
    sqlite_strict=True,
)


def snapshots_place(place: Place) -> Place:
    """Beside the file of the logbook; in PostgreSQL the same database."""
    return place if place.path is None else place_of(place.path.with_name(place.path.name + "-snapshots"))


class SqlSnapshots:
    """A ``SnapshotStore``; forgets the oldest when there is too much."""

    def __init__(self, place: Place) -> None:
        self._place, self._most, self._puts = snapshots_place(place), _MOST_BYTES, 0
        self._database = Database(self._place, open_engine(self._place, 1.0, synchronous="off"), 1.0)
        with suppress(StoreUnavailable):
            create_private(self._place)

    def limit(self, most: int) -> None:
        """Keep at most about so many bytes."""
        self._most = most

    def get(self, key: str) -> bytes | None:
        """See ``SnapshotStore``."""
        query = select(_table.c.value).where(_table.c.key == key)
        try:
            return self._database.read(lambda connection: connection.execute(query).scalar())
        except StoreUnavailable:
            return None

    def put(self, key: str, value: bytes) -> None:
        """See ``SnapshotStore``."""
        for last in (False, True):
            try:
                self._database.write(lambda connection: self._put(connection, key, value))
                return
            except StoreUnavailable as error:
                if last or not self._made_anew(damaged(error)):
                    return

    def _put(self, connection: Connection, key: str, value: bytes) -> None:
        connection.execute(delete(_table).where(_table.c.key == key))
        connection.execute(insert(_table).values(key=key, value=value, size=len(value)))
        self._puts += 1
        if self._puts % _PRUNE_EVERY == 1:
            self._prune(connection)

    def _prune(self, connection: Connection) -> None:
        """Walks from the newest to the oldest and forgets all beyond what fits."""
        kept = 0
        for place, size in connection.execute(select(_table.c.place, _table.c.size).order_by(_table.c.place.desc())):
            kept += size
            if kept > self._most:
                connection.execute(delete(_table).where(_table.c.place <= place))
                return

    def _made_anew(self, broken: bool) -> bool:
        """Makes the table, in a new file where the old one is broken; whether it worked."""
        try:
            if broken:
                self._throw_away()
                create_private(self._place)
            self._database.write(lambda connection: _table.create(connection, checkfirst=True))
        except (StoreUnavailable, OSError):
            return False
        return True

    def _throw_away(self) -> None:
        path = self._place.path
        self._database.close()
        for end in ("", "-wal", "-shm") if path else ():
            Path(f"{path}{end}").unlink(missing_ok=True)

    def close(self) -> None:
        """Closes every connection."""
        self._database.close()
