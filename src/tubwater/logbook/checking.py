"""Looks a place over from end to end without changing it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from itertools import groupby
from types import SimpleNamespace
from typing import Any

from sqlalchemy import Connection, Row, Text, select, type_coerce

from tubwater.errors import InputError, StoreUnavailable
from tubwater.logbook.engine import Database
from tubwater.logbook.entries import stored_of
from tubwater.logbook.migrate import HEAD, version_of
from tubwater.logbook.tables import METADATA, Moment, entry
from tubwater.services.effective import table_of
from tubwater.services.ports import Kind, Stored
from tubwater.services.storage import Fault, Finding
from tubwater.services.tubfile import parse_table

__all__ = ["check"]

_END_OF_TIME = datetime(9999, 1, 1, tzinfo=UTC)


def check(database: Database) -> tuple[Finding, ...]:
    """All that is wrong, in the order in which it should be mended."""
    try:
        return database.read(lambda connection: tuple(_all(connection)))
    except StoreUnavailable as error:
        return (Finding(Fault.DAMAGED, database.place.told, str(error)),)


def _all(connection: Connection) -> Iterator[Finding]:
    if connection.dialect.name == "sqlite":
        yield from _file(connection)
    yield from _version(connection)
    yield from _entries(connection)


def _file(connection: Connection) -> Iterator[Finding]:
    for (told,) in connection.exec_driver_sql("PRAGMA integrity_check"):
        if told != "ok":
            yield Finding(Fault.DAMAGED, "file", str(told))
    for table, row, parent, _ in connection.exec_driver_sql("PRAGMA foreign_key_check"):
        yield Finding(Fault.REFERENCE, f"{table}, row {row}", f"points to no {parent}")


def _version(connection: Connection) -> Iterator[Finding]:
    found = version_of(connection)
    if found != HEAD:
        yield Finding(Fault.VERSION, "tables", f"version {found}, not {HEAD}")
        return
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    options = {"compare_type": False, "include_name": _is_ours}
    for difference in compare_metadata(MigrationContext.configure(connection, opts=options), METADATA):
        yield Finding(Fault.VERSION, "tables", str(difference))


def _is_ours(name: str | None, kind: str, parents: Any) -> bool:
    return kind != "table" or name in METADATA.tables


def _entries(connection: Connection) -> Iterator[Finding]:
    # Times as the texts that stand there, so that one that is none is found and does not stop the search.
    columns = [type_coerce(c, Text).label(c.name) if isinstance(c.type, Moment) else c for c in entry.columns]
    rows = connection.execute(select(*columns).order_by(entry.c.tub, entry.c.place))
    for tub, found in groupby(rows, key=lambda row: str(row.tub)):
        entries: list[Stored] = []
        for row in found:
            try:
                entries.append(_read(row))
            except (ValueError, TypeError) as error:
                yield Finding(Fault.BODY, f"entry {row.id}", str(error))
        yield from _order(entries)
        yield from _meaning(tub, entries)


def _read(row: Row[Any]) -> Stored:
    parts = dict(row._mapping)
    times = {name: _time(parts[name]) for name in ("happened", "recorded", "sent")}
    stored = stored_of(SimpleNamespace(**parts | times))
    if not isinstance(stored.entry.body, dict):
        raise TypeError("the body is no table")
    return stored


def _time(text: str | None) -> datetime | None:
    found = None if text is None else datetime.fromisoformat(text)
    if found is not None and found.tzinfo is None:
        raise ValueError(f"a time without an offset: {text}")
    return found


def _order(entries: Sequence[Stored]) -> Iterator[Finding]:
    """Each description follows the one before it; corrections are about entries of the same tub."""
    newest: dict[Kind, str] = {}
    ids = {stored.entry.id for stored in entries}
    for one in (stored.entry for stored in entries):
        if one.kind in (Kind.TUB, Kind.SHELF):
            if one.after != newest.get(one.kind, ""):
                yield Finding(Fault.ORDER, f"entry {one.id}", f"comes after {one.after!r}")
            newest[one.kind] = one.id
        about = one.body.get("entry")
        if one.kind in (Kind.CORRECTED, Kind.WITHDRAWN) and about not in ids:
            yield Finding(Fault.REFERENCE, f"entry {one.id}", f"points to no entry {about!r} of its tub")


def _meaning(tub: str, entries: Sequence[Stored]) -> Iterator[Finding]:
    try:
        parse_table(table_of(entries), _END_OF_TIME)
    except InputError as error:
        yield from (Finding(Fault.MEANING, f"tub {tub}", str(problem)) for problem in error.problems)
    except (ValueError, TypeError, KeyError) as error:
        yield Finding(Fault.MEANING, f"tub {tub}", repr(error))
