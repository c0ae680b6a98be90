"""Which letters went out, and which one somebody is sending at this moment: so that of two who would, one does."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Protocol

__all__ = ["CLAIM", "LetterState", "LetterStore", "may_claim"]

CLAIM = timedelta(minutes=10)  # after which nobody is at it any more: longer than a mail server is waited for


@dataclass(frozen=True)
class LetterState:
    """A letter that was claimed (``sent`` is False) or went out, ``at`` that time."""

    at: datetime
    sent: bool


class LetterStore(Protocol):
    """Remembers letters by their id, for many programs at once. It may raise StoreUnavailable or InputError."""

    def claim(self, id: str, at: datetime, again: bool = False) -> bool:
        """Takes the sending of a letter upon oneself, before it is handed over.

        Args:
            again: even if it went out.

        Returns:
            False where it went out, or where somebody else claimed it less than ``CLAIM`` ago.
        """
        ...

    def keep(self, id: str, at: datetime) -> None:
        """It went out."""
        ...

    def release(self, id: str, at: datetime) -> None:
        """It did not go out: the claim made ``at`` that time is given back."""
        ...


def may_claim(known: LetterState | None, at: datetime, again: bool) -> bool:
    """Whether a letter of which this is known may be claimed; a claim of the future is of a clock that was wrong."""
    if known is None:
        return True
    return again if known.sent else not timedelta() <= at - known.at < CLAIM
