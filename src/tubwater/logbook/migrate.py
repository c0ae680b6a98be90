"""Brings the tables of a place to the version of this program, whatever older version they are of."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Connection, Engine, inspect, text
from sqlalchemy.exc import SQLAlchemyError

from tubwater.errors import StoreUnavailable
from tubwater.logbook.engine import APPLICATION_ID, open_engine
from tubwater.logbook.faults import unavailable
from tubwater.logbook.place import Place

__all__ = ["HEAD", "bring_up", "version_of"]

HEAD = "3"  # the newest step; kept here too, because Alembic takes long to load and is seldom needed
_KNOWN = ("1", "2", "3")
_LOCK = 0x54554257
_VERSIONS = "alembic_version"


def version_of(connection: Connection) -> str | None:
    """The version of the tables; None where there are none yet."""
    if not inspect(connection).has_table(_VERSIONS):
        return None
    return str(connection.execute(text(f"SELECT version_num FROM {_VERSIONS}")).scalar_one())


def bring_up(place: Place, busy_seconds: float, target: str = HEAD) -> None:
    """Makes or changes the tables in one transaction, unless they are right; of two at once, one waits.

    Raises:
        StoreUnavailable: it is no logbook, or one of a newer version of the program.
    """
    # Foreign keys are off meanwhile: a table that is made anew under a step would take the rows that point to it along.
    engine = open_engine(place, busy_seconds, foreign_keys=False)
    try:
        _brought_up(engine, place, target)
    except SQLAlchemyError as error:
        raise unavailable(error) from error
    finally:
        engine.dispose()


def _brought_up(engine: Engine, place: Place, target: str) -> None:
    with engine.execution_options(reads=True).begin() as connection:
        if version_of(connection) == target:
            return
    with engine.begin() as connection:
        if place.path is None:
            connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _LOCK})
        found = version_of(connection)
        _refuse_foreign(connection, place, found)
        if found != target:
            _upgrade(connection, target)
            _mark(connection, place)


def _refuse_foreign(connection: Connection, place: Place, found: str | None) -> None:
    if found is not None and found not in _KNOWN:
        raise StoreUnavailable(f"{place.told} was written by a newer version of Tubwater ({found}); update this one")
    tables = inspect(connection).get_table_names()
    if found is None and "entry" in tables:
        raise StoreUnavailable(f"{place.told} holds tables of another program")
    if place.path is None:
        return
    marked = connection.exec_driver_sql("PRAGMA application_id").scalar_one()
    if marked != APPLICATION_ID and tables:
        raise StoreUnavailable(f"{place.told} is a database of another program")


def _upgrade(connection: Connection, target: str) -> None:
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations").replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    command.upgrade(config, target)


def _mark(connection: Connection, place: Place) -> None:
    """No row may point nowhere after the steps; then the file is ours."""
    if place.path is None:
        return
    if connection.exec_driver_sql("PRAGMA foreign_key_check").first() is not None:
        raise StoreUnavailable(f"{place.told} holds rows that point nowhere, so it was left as it is")
    connection.exec_driver_sql(f"PRAGMA application_id={APPLICATION_ID}")
