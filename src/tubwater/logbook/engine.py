"""Connections: how they are made, pooled, begun and ended, and how a fault becomes an error of ours.

SQLite: WAL, foreign keys and synchronous=FULL; a writing transaction takes the lock at its beginning (BEGIN IMMEDIATE),
because one that reads first and then writes can lose what another wrote in between.
"""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from threading import Lock
from typing import Any, TypeVar

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.exc import DBAPIError, IntegrityError, SQLAlchemyError

from tubwater.errors import StoreUnavailable
from tubwater.logbook.faults import LOCKED, again, unavailable
from tubwater.logbook.place import Place

__all__ = ["APPLICATION_ID", "Database", "create_private", "open_engine"]

APPLICATION_ID = 0x54554257  # "TUBW", so that a file of another program is not taken for ours
_OLDEST_SQLITE = (3, 37)  # the first with STRICT tables
_POOL = {"pool_size": 10, "max_overflow": 10}
_POOL_SECONDS = 30.0  # that a thread waits for a connection at least
_TRIES = 5
_PAUSE = 0.01  # s
_Found = TypeVar("_Found")


def open_engine(place: Place, busy_seconds: float, synchronous: str = "full", foreign_keys: bool = True) -> Engine:
    """An engine for a place; nothing is connected yet.

    Args:
        busy_seconds: how long a connection waits for a lock, s; a thread waits for a connection no shorter.
    """
    pool = {**_POOL, "pool_timeout": max(_POOL_SECONDS, busy_seconds)}
    if place.path is not None:
        pragmas = _pragmas(busy_seconds, synchronous, foreign_keys)
        return _sqlite(place, pragmas, busy_seconds, pool)
    return _postgresql(place, busy_seconds, synchronous, pool)


def _pragmas(busy_seconds: float, synchronous: str, foreign_keys: bool) -> tuple[str, ...]:
    return (
        f"busy_timeout={round(busy_seconds * 1000)}",
        "journal_mode=wal",
        f"foreign_keys={'on' if foreign_keys else 'off'}",
        f"synchronous={synchronous}",
    )


def _sqlite(place: Place, pragmas: tuple[str, ...], busy_seconds: float, pool: dict[str, Any]) -> Engine:
    engine = create_engine(place.url, connect_args={"check_same_thread": False}, **pool)
    if engine.dialect.dbapi.sqlite_version_info < _OLDEST_SQLITE:  # type: ignore[union-attr]
        raise StoreUnavailable("this Python's SQLite is older than 3.37; a newer Python brings a newer one")

    @event.listens_for(engine, "connect")
    def _connect(connection: Any, _: object) -> None:
        connection.isolation_level = None  # BEGIN is said below
        for pragma in pragmas:
            _patiently(connection, f"PRAGMA {pragma}", busy_seconds)

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        reads = connection.get_execution_options().get("reads")
        connection.exec_driver_sql("BEGIN" if reads else "BEGIN IMMEDIATE")

    return engine


def _patiently(connection: Any, statement: str, seconds: float) -> None:
    """Runs a statement again while another holds the file: SQLite's own wait leaves out the change to a WAL."""
    end = time.monotonic() + seconds
    while True:
        try:
            connection.execute(statement)
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or time.monotonic() >= end:
                raise
            time.sleep(_PAUSE)
        else:
            return


def _postgresql(place: Place, busy_seconds: float, synchronous: str, pool: dict[str, Any]) -> Engine:
    try:
        engine = create_engine(place.url, pool_pre_ping=True, connect_args={"connect_timeout": 5}, **pool)
    except ModuleNotFoundError:
        raise StoreUnavailable('PostgreSQL needs one more package: pip install "tubwater[postgresql]"') from None

    @event.listens_for(engine, "connect")
    def _connect(connection: Any, _: object) -> None:
        connection.execute(f"SET lock_timeout = {round(busy_seconds * 1000)}")
        connection.execute("SET statement_timeout = 120000")
        if synchronous == "off":
            connection.execute("SET synchronous_commit = off")
        connection.commit()

    return engine


class Database:
    """An engine with the two things that are done with it. It may be used by many threads."""

    def __init__(self, place: Place, engine: Engine, busy_seconds: float) -> None:
        self.place, self.engine, self._busy = place, engine, busy_seconds
        self._reader = engine.execution_options(reads=True)
        if place.path is None:
            self._reader = engine.execution_options(isolation_level="REPEATABLE READ")
        self._turn = Lock()

    def read(self, work: Callable[[Connection], _Found]) -> _Found:
        """What the work finds; all its queries see the same moment.

        Raises:
            StoreUnavailable.
        """
        try:
            with self._reader.begin() as connection:
                return work(connection)
        except SQLAlchemyError as error:
            raise unavailable(error) from error

    def write(self, work: Callable[[Connection], _Found]) -> _Found:
        """What the work did, in one transaction: all or nothing. It may be called again if two got in each other's way.

        Raises:
            StoreUnavailable: nothing was kept.
        """
        for last in (False,) * (_TRIES - 1) + (True,):
            try:
                with self._my_turn(), self.engine.begin() as connection:
                    return work(connection)
            except IntegrityError as error:
                if last:
                    raise unavailable(error) from error
            except SQLAlchemyError as error:
                if last or not (isinstance(error, DBAPIError) and again(error)):
                    raise unavailable(error) from error
        raise AssertionError("the last try returns or raises")

    @contextmanager
    def _my_turn(self) -> Iterator[None]:
        """In one process, SQLite's writers queue here: its own waiting is not in order, so that one could starve."""
        if self.place.path is None:
            yield
            return
        if not self._turn.acquire(timeout=self._busy):
            raise StoreUnavailable(LOCKED)
        try:
            yield
        finally:
            self._turn.release()

    def close(self) -> None:
        """Closes every connection."""
        self.engine.dispose()


def create_private(place: Place) -> None:
    """Makes the file of a new logbook so that only its user can read it: it will hold hashes of passwords."""
    if place.path is None or place.path.exists():
        return
    try:
        place.path.parent.mkdir(parents=True, exist_ok=True)
        os.close(os.open(place.path, os.O_CREAT | os.O_WRONLY, 0o600))
    except OSError as error:
        raise StoreUnavailable(f"{place.told} cannot be made: {error.strerror}") from None
