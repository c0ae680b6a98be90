"""Every row of one place into another that is empty: the way of backups, and from SQLite to PostgreSQL and back."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path

from sqlalchemy import Connection, func, select, text

from tubwater.errors import InputError, StoreUnavailable
from tubwater.logbook.engine import Database, create_private, open_engine
from tubwater.logbook.migrate import bring_up
from tubwater.logbook.place import place_of
from tubwater.logbook.tables import METADATA, entry

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


def restore(backup: Path, target: Database) -> int:
    """Fills an empty place from a backup, of this version or an older one; the backup itself is left alone."""
    if not backup.is_file():
        raise InputError.one("file", str(backup), "a backup that was made by this command")
    with tempfile.TemporaryDirectory(prefix="tubwater-restore-") as folder:
        copy = Path(folder, "logbook.db")
        shutil.copyfile(backup, copy)
        return _in_file(copy, lambda source: _moved(source, target))


def _moved(source: Database, target: Database) -> int:
    return source.read(lambda rows: target.write(lambda into: _copy(rows, into, must_be_empty=True)))


def _copy(rows: Connection, into: Connection, must_be_empty: bool = False) -> int:
    if must_be_empty:
        _demand_empty(into)
    for table in METADATA.sorted_tables:
        found = rows.execution_options(yield_per=_CHUNK).execute(select(table))
        for part in found.mappings().partitions(_CHUNK):
            into.execute(table.insert(), [dict(row) for row in part])
    if into.dialect.name == "postgresql":
        into.execute(text("SELECT setval(pg_get_serial_sequence('entry', 'place'), max(place)) FROM entry"))
    return int(into.execute(select(func.count()).select_from(entry)).scalar_one())


def _demand_empty(into: Connection) -> None:
    for table in METADATA.sorted_tables:
        if into.execute(select(func.count()).select_from(table)).scalar_one():
            raise InputError.one("logbook", table.name, "an empty place to restore into; name a new one")
