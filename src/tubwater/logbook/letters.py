"""Letters that went out or are being sent, in the database: each claim is one writing transaction."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection, delete, insert, select, update

from tubwater.logbook.engine import Database
from tubwater.logbook.tables import letter
from tubwater.services.letters import LetterState, may_claim

__all__ = ["SqlLetters"]


class SqlLetters:
    """A ``LetterStore`` in a database."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def claim(self, id: str, at: datetime, again: bool = False) -> bool:
        """See ``LetterStore``. Of two who put in one row at once, the second is tried again and finds it."""
        return self._database.write(lambda connection: _claimed(connection, id, at, again))

    def keep(self, id: str, at: datetime) -> None:
        """See ``LetterStore``."""
        self._database.write(lambda connection: _put(connection, id, LetterState(at, True), _known(connection, id)))

    def release(self, id: str, at: datetime) -> None:
        """See ``LetterStore``."""
        self._database.write(lambda connection: _released(connection, id, at))


def _claimed(connection: Connection, id: str, at: datetime, again: bool) -> bool:
    known = _known(connection, id)
    free = may_claim(known, at, again)
    if free:
        _put(connection, id, LetterState(at, False), known)
    return free


def _released(connection: Connection, id: str, at: datetime) -> None:
    if _known(connection, id) == LetterState(at, sent=False):
        connection.execute(delete(letter).where(letter.c.id == id))


def _known(connection: Connection, id: str) -> LetterState | None:
    """Locked until the end of the transaction; in SQLite the whole file is."""
    row = connection.execute(select(letter).where(letter.c.id == id).with_for_update()).one_or_none()
    return LetterState(row.at, row.sent) if row else None


def _put(connection: Connection, id: str, state: LetterState, known: LetterState | None) -> None:
    values = {"at": state.at, "sent": state.sent}
    if known is None:
        connection.execute(insert(letter).values(id=id, **values))
    else:
        connection.execute(update(letter).where(letter.c.id == id).values(values))
