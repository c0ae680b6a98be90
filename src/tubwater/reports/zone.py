"""The time zone in which a reader is told a time: chosen once at a face, it holds for a whole request or command."""

from __future__ import annotations

from collections.abc import Callable
from contextvars import ContextVar
from datetime import datetime, tzinfo

__all__ = ["placed", "tell_times_in"]


def _as_given(at: datetime) -> datetime:
    return at


# Each thread, task and request has its own.
_CHOSEN: ContextVar[Callable[[datetime], datetime]] = ContextVar("zone", default=_as_given)


def tell_times_in(zone: tzinfo | None) -> None:
    """From here on in this thread, task or request; None is this machine's own zone."""
    _CHOSEN.set(lambda at: at.astimezone(zone))


def placed(at: datetime) -> datetime:
    """An aware time in the zone chosen; as it is where none was."""
    return _CHOSEN.get()(at)
