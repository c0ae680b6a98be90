"""What the database says, as one sentence for whoever stands beside the tub."""

from __future__ import annotations

import sqlite3

from sqlalchemy.exc import DBAPIError, SQLAlchemyError, TimeoutError

from tubwater.errors import StoreUnavailable

__all__ = ["LOCKED", "again", "damaged", "unavailable"]

_AGAIN = " Nothing that was kept is lost; enter it again, a repeat is harmless"
LOCKED = "the logbook is held by another program." + _AGAIN
_FULL = "the disk is full, so the logbook cannot take an entry. Make room." + _AGAIN
_STOPPED = "the database does not answer: it has stopped or cannot be reached." + _AGAIN
_BUSY = "the database has no free connection." + _AGAIN
_SQLITE = {
    "SQLITE_BUSY": LOCKED,
    "SQLITE_LOCKED": LOCKED,
    "SQLITE_FULL": _FULL,
    "SQLITE_READONLY": "the file of the logbook, or its folder, cannot be written." + _AGAIN,
    "SQLITE_CANTOPEN": "the file of the logbook cannot be opened; look at its folder and who may write there",
    "SQLITE_NOTADB": "the file is not a logbook",
    "SQLITE_CORRUPT": "the file of the logbook is damaged; restore the last backup into a new file",
    "SQLITE_IOERR": "the disk failed while the logbook was used; it may be full or its files may be limited." + _AGAIN,
}
# Classes of SQLSTATE and single codes, as PostgreSQL's documentation lists them (appendix A).
_POSTGRESQL = {
    "53100": _FULL,
    "53300": _BUSY,
    "55P03": LOCKED,
    "57014": "the database took too long." + _AGAIN,
    "25006": "the database can only be read at the moment." + _AGAIN,
    "28": "the database does not let this user in; look at the URL",
    "3D": "there is no database of this name; look at the URL",
    "42501": "the user of the database may not write there",
    "08": _STOPPED,
    "57P": _STOPPED,
}
_RETRY = ("40001", "40P01")


def again(error: DBAPIError) -> bool:
    """Whether two got into each other's way, and the whole transaction should be tried again."""
    return getattr(error.orig, "sqlstate", None) in _RETRY


def unavailable(error: SQLAlchemyError) -> StoreUnavailable:
    """The error for the user."""
    if isinstance(error, TimeoutError):
        return StoreUnavailable(_BUSY)
    if not isinstance(error, DBAPIError):
        return StoreUnavailable(f"the database cannot be used: {error}")
    if isinstance(error.orig, sqlite3.Error):
        return StoreUnavailable(_of_sqlite(error.orig))
    return StoreUnavailable(_of_postgresql(error))


def _of_sqlite(error: sqlite3.Error) -> str:
    name = getattr(error, "sqlite_errorname", "")
    known = next((text for code, text in _SQLITE.items() if name.startswith(code)), None)
    return known or f"the logbook cannot be used: {error}"


def _of_postgresql(error: DBAPIError) -> str:
    state = getattr(error.orig, "sqlstate", None)
    if state is None:
        return _STOPPED
    known = next((text for code, text in _POSTGRESQL.items() if state.startswith(code)), None)
    return known or f"the database refused ({state}): {error.orig}"


def damaged(error: StoreUnavailable) -> bool:
    """Whether the file itself is no database, or a broken one."""
    told = getattr(error.__cause__, "orig", None)
    return getattr(told, "sqlite_errorname", "").startswith(("SQLITE_NOTADB", "SQLITE_CORRUPT"))
