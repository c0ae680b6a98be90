"""Where a logbook is: the path of a file, or the URL of a database."""

from __future__ import annotations

import os
import sys
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import URL, make_url
from sqlalchemy.exc import ArgumentError

from tubwater.errors import StoreUnavailable

__all__ = ["Place", "default_place", "place_of"]

_FILE = "logbook.db"
_EXPECTED = "a path such as logbook.db, or a URL such as postgresql://user@host/name"


@dataclass(frozen=True)
class Place:
    """``path`` is None for PostgreSQL. ``told`` names the place without its password."""

    url: URL
    path: Path | None
    told: str


def default_place() -> str:
    """TUBWATER_LOGBOOK, or a file in the folder that this system has for a user's data."""
    named = os.environ.get("TUBWATER_LOGBOOK")
    return named or str(_data_folder() / "tubwater" / _FILE)


def _data_folder() -> Path:
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Application Support"
    return Path(os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share")


def place_of(place: str | Path) -> Place:
    """The place that a text names.

    Raises:
        StoreUnavailable: it names none.
    """
    text = str(place)
    if "://" not in text:
        path = Path(text).expanduser().absolute()
        return Place(URL.create("sqlite", database=str(path)), path, str(path))
    try:
        url = make_url(text)
    except (ArgumentError, ValueError):
        raise StoreUnavailable(f"{_EXPECTED} names a logbook; this does not") from None
    if url.get_backend_name() not in ("postgresql", "postgres"):
        raise StoreUnavailable(f"a logbook cannot be kept in {url.get_backend_name()}; {_EXPECTED}")
    return Place(url.set(drivername="postgresql+psycopg"), None, url.render_as_string(hide_password=True))
