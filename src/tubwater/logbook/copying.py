"""Every row of one place into another that is empty: the way of backups, and from SQLite to PostgreSQL and back."""

from __future__ import annotations

import os
import shutil
import sqlite3
import tempfile
from collections.abc import Callable
from contextlib import AbstractContextManager, closing
from pathlib import Path

from sqlalchemy import Connection, func, select, text

from tubwater.errors import InputError, StoreUnavailable
from tubwater.logbook.checking import check
from tubwater.logbook.engine import Database, create_private, open_engine
from tubwater.logbook.migrate import bring_up
from tubwater.logbook.place import place_of
from tubwater.logbook.tables import METADATA, entry
from tubwater.services.storage import Fault

__all__ = ["backup", "restore"]

_CHUNK = 1000
_WAIT = 10.0


def backup(source: Database, target: Path) -> int:
    """A new logbook file with all that the source holds at one moment; the number of entries.

    The file appears under its name only when it is complete and on the disk.
    """
    if target.exists():
        raise InputError.one("file", str(target), "the name of a file that is not there yet")
    try:
        with tempfile.TemporaryDirectory(prefix=".backup-", dir=target.absolute().parent) as folder:
            made = Path(folder, "logbook.db")
            count = source.read(lambda rows: _filled(made, rows))
            _settle(made)
            os.replace(made, target)
    except OSError as error:
        raise StoreUnavailable(f"the backup cannot be written: {error.strerror}") from error
    return count


def _filled(path: Path, rows: Connection) -> int:
    return _in_file(path, lambda database: database.write(lambda into: _copy(rows, into)))


def _in_file(path: Path, work: Callable[[Database], int]) -> int:
    place = place_of(path)
    create_private(place)
    bring_up(place, _WAIT)
    database = Database(place, open_engine(place, _WAIT), _WAIT)
    try:
        return work(database)
    finally:
        database.close()


def _settle(path: Path) -> None:
    """Everything in the one file, and on the disk."""
    place = place_of(path)
    engine = open_engine(place, _WAIT)
    with engine.connect() as connection:
        connection.connection.driver_connection.execute("PRAGMA journal_mode=delete")  # type: ignore[union-attr]
    engine.dispose()
    with path.open("rb") as file:
        os.fsync(file.fileno())


def restore(backup: Path, target: Callable[[], AbstractContextManager[Database]]) -> int:
    """Fills an empty place from a backup, of this version or an older one; the backup itself is left alone.

    Args:
        target: opens the place, and is not called before the backup was looked over from end to end.
    """
    if not backup.is_file() or not backup.stat().st_size:
        raise InputError.one("file", str(backup), "a backup that was made by this command")
    with tempfile.TemporaryDirectory(prefix="tubwater-restore-") as folder:
        copy = Path(folder, "logbook.db")
        _taken(backup, copy)
        return _in_file(copy, lambda source: _moved(source, target))


def _taken(backup: Path, copy: Path) -> None:
    """With what a logbook in use, or one whose program was killed, keeps in a second file."""
    second = backup.with_name(backup.name + "-wal")
    if not second.exists() or not second.stat().st_size:
        shutil.copyfile(backup, copy)
        return
    try:
        with (
            closing(sqlite3.connect(f"{backup.absolute().as_uri()}?mode=ro", uri=True)) as whole,
            closing(sqlite3.connect(copy)) as into,
        ):
            whole.backup(into)
    except sqlite3.Error as error:
        raise StoreUnavailable(f"the backup cannot be read: {error}") from error


def _moved(source: Database, target: Callable[[], AbstractContextManager[Database]]) -> int:
    for finding in check(source):
        if finding.fault in (Fault.DAMAGED, Fault.REFERENCE, Fault.BODY):
            raise StoreUnavailable(f"the backup is damaged: {finding.where}: {finding.found}")
    with target() as database:
        return source.read(lambda rows: database.write(lambda into: _copy(rows, into, database.place.told)))


def _copy(rows: Connection, into: Connection, empty: str = "") -> int:
    """The number of entries; with the name of a place only where that holds nothing yet."""
    if empty:
        _demand_empty(into, empty)
    for table in METADATA.sorted_tables:
        found = rows.execution_options(yield_per=_CHUNK).execute(select(table))
        for part in found.mappings().partitions(_CHUNK):
            into.execute(table.insert(), [dict(row) for row in part])
    if into.dialect.name == "postgresql":
        into.execute(text("SELECT setval(pg_get_serial_sequence('entry', 'place'), max(place)) FROM entry"))
    return int(into.execute(select(func.count()).select_from(entry)).scalar_one())


def _demand_empty(into: Connection, place: str) -> None:
    for table in METADATA.sorted_tables:
        if into.execute(select(func.count()).select_from(table)).scalar_one():
            raise InputError.one("logbook", place, "an empty place to restore into; name a new one")
