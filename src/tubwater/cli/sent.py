"""Which letters about a keeper's file went out: a file beside it, for as many commands as want it at once."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from tubwater.errors import InputError
from tubwater.services.letters import LetterState, may_claim

__all__ = ["SentFile"]

_SECONDS = 10.0  # that one command waits for another
_MOST_KEPT = 5000
_SENDING = "sending since "


class SentFile:
    """A ``LetterStore`` in a file, which is changed whole or not at all.

    Every method raises InputError where the file cannot be written, or is none of ours.
    """

    def __init__(self, path: Path) -> None:
        self._path = path

    def claim(self, id: str, at: datetime, again: bool = False) -> bool:
        """See ``LetterStore``."""
        with self._alone():
            known = self._read()
            free = may_claim(known.get(id), at, again)
            if free:
                self._write({**known, id: LetterState(at, sent=False)})
            return free

    def keep(self, id: str, at: datetime) -> None:
        """See ``LetterStore``."""
        with self._alone():
            self._write({**self._read(), id: LetterState(at, sent=True)})

    def release(self, id: str, at: datetime) -> None:
        """See ``LetterStore``."""
        with self._alone():
            known = self._read()
            if known.get(id) == LetterState(at, sent=False):
                self._write({other: state for other, state in known.items() if other != id})

    @contextmanager
    def _alone(self) -> Iterator[None]:
        """While one command is in here, others wait. Every system lets go of SQLite's lock when a program dies."""
        guard = self._path.with_name(self._path.name + ".lock")
        try:
            connection = sqlite3.connect(guard, timeout=_SECONDS, isolation_level=None)
        except sqlite3.Error as error:
            raise self._unwritable(str(error)) from None
        try:
            connection.execute("BEGIN EXCLUSIVE")
            yield
        except sqlite3.Error as error:
            raise self._unwritable(str(error)) from None
        finally:
            connection.close()

    def _write(self, known: Mapping[str, LetterState]) -> None:
        newest = sorted(known.items(), key=lambda row: row[1].at)[-_MOST_KEPT:]
        fresh = self._path.with_name(self._path.name + ".new")
        try:
            fresh.write_text(json.dumps({id: _text(state) for id, state in newest}, indent=1), encoding="utf-8")
            fresh.replace(self._path)
        except OSError as error:
            raise self._unwritable(error.strerror or "an error") from None

    def _unwritable(self, why: str) -> InputError:
        return InputError.one("--state", f"{self._path} ({why})", "a file that can be written")

    def _read(self) -> dict[str, LetterState]:
        try:
            found = json.loads(self._path.read_text(encoding="utf-8"))
            return {id: _state(text) for id, text in found.items()}
        except FileNotFoundError:
            return {}
        except (OSError, ValueError, AttributeError, TypeError):
            raise InputError.one("--state", str(self._path), "a file that this command wrote, or none") from None


def _text(state: LetterState) -> str:
    return ("" if state.sent else _SENDING) + state.at.isoformat()


def _state(text: str) -> LetterState:
    """The state that a line of the file tells.

    Raises:
        ValueError, AttributeError: it tells none.
    """
    at = datetime.fromisoformat(text.removeprefix(_SENDING))
    if at.tzinfo is None:
        raise ValueError(f"a time without an offset: {text}")
    return LetterState(at, sent=not text.startswith(_SENDING))
