"""Values and a server that the tests of storage share."""

from __future__ import annotations

import os
import shutil
import subprocess
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path
from typing import Any

from sqlalchemy import create_engine, text
from sqlalchemy.pool import NullPool

from tubwater.services.people import AccountStore
from tubwater.services.ports import Entry, EntryStore, Kind, SnapshotStore, Source

__all__ = ["START", "Server", "Stores", "make_entry", "minutes", "next_number", "server_programs"]

START = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
_numbers = count()


def next_number() -> int:
    """A number that no other place of this process has."""
    return next(_numbers)


@dataclass(frozen=True)
class Stores:
    """The stores of one place."""

    entries: EntryStore
    accounts: AccountStore
    snapshots: SnapshotStore


def make_entry(
    id: str, tub: str = "larch", kind: Kind = Kind.SOAKED, after: str = "", source: Source | None = None, **body: Any
) -> Entry:
    """An entry for a test."""
    return Entry(id, tub, kind, START, body or {"people": 2}, source or Source(), after)


def minutes(number: float) -> datetime:
    """A time after the start."""
    return START + timedelta(minutes=number)


def server_programs() -> Path | None:
    """Where Debian, or whoever packed the server, keeps its programs."""
    asked = shutil.which("pg_config")
    found = [subprocess.check_output([asked, "--bindir"], text=True).strip()] if asked else []
    found += sorted(map(str, Path("/usr/lib/postgresql").glob("*/bin")), reverse=True)
    return next((Path(folder) for folder in found if Path(folder, "initdb").exists()), None)


class Server:
    """A PostgreSQL server in a folder, on a Unix socket only; the server itself refuses to run as root."""

    def __init__(self, programs: Path, folder: str) -> None:
        self._programs, self._folder = programs, folder
        self._user: dict[str, Any] = {}
        if os.geteuid() == 0:
            shutil.chown(folder, "postgres", "postgres")
            self._user = {"user": "postgres", "group": "postgres", "extra_groups": []}
        self._run("initdb", "-U", "postgres", "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8", "-N")

    def start(self) -> None:
        """Starts it and waits until it answers."""
        options = f"-k {self._folder} -c listen_addresses='' -c fsync=off -c max_connections=100"
        self._run("pg_ctl", "-w", "-l", f"{self._folder}/log", "-o", options, "start")

    def stop(self) -> None:
        """Stops it at once, connections and all."""
        self._run("pg_ctl", "-w", "-m", "immediate", "stop")

    def url(self) -> str:
        """The URL of its database."""
        return f"postgresql://postgres@/postgres?host={self._folder}"

    def new_place(self) -> str:
        """A URL with empty tables behind it: a schema of its own, which is made faster than a database."""
        name = f"place_{next_number()}"
        engine = create_engine(self.url().replace("://", "+psycopg://"), poolclass=NullPool)
        with engine.begin() as connection:
            connection.execute(text(f"CREATE SCHEMA {name}"))
        return f"{self.url()}&options=-csearch_path%3D{name}"

    def _run(self, program: str, *arguments: str) -> None:
        line = [str(self._programs / program), "-D", f"{self._folder}/data", *arguments]
        quiet = {"stdin": subprocess.DEVNULL, "stdout": subprocess.DEVNULL}
        subprocess.run(line, check=True, cwd=self._folder, **quiet, **self._user)
