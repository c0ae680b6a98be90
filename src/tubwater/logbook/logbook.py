"""Opens a place and hands out its stores."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tubwater.logbook import checking, copying
from tubwater.logbook.accounts import SqlAccounts, SqlKits
from tubwater.logbook.engine import Database, create_private, open_engine
from tubwater.logbook.entries import SqlEntries
from tubwater.logbook.letters import SqlLetters
from tubwater.logbook.migrate import bring_up
from tubwater.logbook.passwords import ArgonPasswords
from tubwater.logbook.place import default_place, place_of
from tubwater.logbook.sheetfiles import FileSheets
from tubwater.logbook.snapshots import SqlSnapshots
from tubwater.services.storage import Finding

__all__ = ["BUSY_SECONDS", "SqlLogbook", "SqlStorehouse", "open_logbook"]

BUSY_SECONDS = 10.0  # how long one writer waits for another before it gives up


class SqlLogbook:
    """A ``Logbook`` in a database."""

    def __init__(self, database: Database, snapshots: SqlSnapshots) -> None:
        self.database, self.snapshots = database, snapshots
        self.entries = SqlEntries(database)
        self.accounts = SqlAccounts(database)
        self.kits = SqlKits(database)
        self.letters = SqlLetters(database)

    def backup(self, target: Path) -> int:
        """See ``Logbook``."""
        return copying.backup(self.database, target)

    def check(self) -> tuple[Finding, ...]:
        """See ``Logbook``."""
        return checking.check(self.database)

    def close(self) -> None:
        """See ``Logbook``."""
        self.snapshots.close()
        self.database.close()


def open_logbook(place: str | Path, busy_seconds: float = BUSY_SECONDS) -> SqlLogbook:
    """The logbook at a path or URL, brought up to this version; a new one where there is none.

    Args:
        busy_seconds: how long a writer waits for another, s.

    Raises:
        StoreUnavailable: it cannot be opened, and why.
    """
    where = place_of(place)
    create_private(where)
    bring_up(where, busy_seconds)
    return SqlLogbook(Database(where, open_engine(where, busy_seconds), busy_seconds), SqlSnapshots(where))


@contextmanager
def _opened(place: str | Path) -> Iterator[Database]:
    logbook = open_logbook(place)
    try:
        yield logbook.database
    finally:
        logbook.close()


class SqlStorehouse:
    """A ``Storehouse`` of databases."""

    def __init__(self) -> None:
        self.sheets, self.passwords = FileSheets(), ArgonPasswords()

    def open(self, place: str | Path) -> SqlLogbook:
        """See ``Storehouse``."""
        return open_logbook(place)

    def restore(self, backup: Path, place: str | Path) -> int:
        """See ``Storehouse``."""
        return copying.restore(backup, lambda: _opened(place))

    def default_place(self) -> str:
        """See ``Storehouse``."""
        return default_place()
