"""The three places that the storage tests run on: memory, a file of SQLite, and a PostgreSQL server of their own."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from logbook.places import Server, Stores, next_number, server_programs
from tubwater.logbook import SqlLogbook, open_logbook
from tubwater.services.memory import MemoryEntries, MemorySnapshots
from tubwater.services.memory_accounts import MemoryAccounts


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    """A running server; where there is none to start, the check fails and a run by hand says so."""
    programs = server_programs()
    if programs is None:
        (pytest.fail if os.environ.get("CI") else pytest.skip)("no PostgreSQL server: install Debian's postgresql")
    # Not tmp_path: its parents are closed to the server's user, and the path of a socket may have 107 bytes only.
    folder = tempfile.mkdtemp(prefix="pg")
    try:
        started = Server(programs, folder)
        started.start()
        yield started
        started.stop()
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def new_place(tmp_path: Path, request: pytest.FixtureRequest) -> Callable[[str], str]:
    """Makes the name of an empty place in "sqlite" or "postgresql"."""

    def make(kind: str) -> str:
        if kind == "postgresql":
            return str(request.getfixturevalue("server").new_place())
        return str(tmp_path / f"logbook-{next_number()}.db")

    return make


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request: pytest.FixtureRequest, new_place: Callable[[str], str]) -> str:
    """An empty place of each database."""
    return new_place(request.param)


@pytest.fixture
def logbook(place: str) -> Iterator[SqlLogbook]:
    """An open logbook in each database."""
    opened = open_logbook(place)
    yield opened
    opened.close()


@pytest.fixture(params=["memory", "sqlite", "postgresql"])
def stores(request: pytest.FixtureRequest, new_place: Callable[[str], str]) -> Iterator[Stores]:
    """The stores in memory and in each database."""
    if request.param == "memory":
        yield Stores(MemoryEntries(), MemoryAccounts(), MemorySnapshots())
        return
    opened = open_logbook(new_place(request.param))
    yield Stores(opened.entries, opened.accounts, opened.snapshots)
    opened.close()
