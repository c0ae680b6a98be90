"""How often somebody may try to log in. The limits are judgement: enough for the forgetful, too few to guess."""

from __future__ import annotations

from collections import deque
from datetime import datetime, timedelta
from threading import Lock

from tubwater.errors import TooManyAttempts

__all__ = ["Attempts"]

_WINDOW = timedelta(minutes=15)
_PAIR, _ADDRESS, _NAME = 5, 20, 50  # failures in the window: one name from one place, one place, one name
_MOST_KEYS = 10_000
_Key = tuple[str, str, str]


class Attempts:
    """The failures of the last quarter of an hour, by name and by address; forgotten when the process ends."""

    def __init__(self) -> None:
        self._failures: dict[_Key, deque[datetime]] = {}
        self._lock = Lock()

    def check(self, name: str, address: str, now: datetime) -> None:
        """Nothing, or TooManyAttempts with the seconds to wait."""
        with self._lock:
            waits = [self._wait(key, most, now) for key, most in _keys(name, address)]
        if max(waits) > timedelta(0):
            raise TooManyAttempts(max(waits).total_seconds())

    def failed(self, name: str, address: str, now: datetime) -> None:
        """Counts a failure."""
        with self._lock:
            for key, most in _keys(name, address):
                self._failures.setdefault(key, deque(maxlen=most)).append(now)
            self._forget(now)

    def passed(self, name: str, address: str) -> None:
        """Whoever got in has a clean slate at that place."""
        with self._lock:
            self._failures.pop(("pair", name, address), None)

    def _wait(self, key: _Key, most: int, now: datetime) -> timedelta:
        """How long until the oldest of ``most`` failures has left the window; a clock set back waits no longer."""
        found = self._failures.get(key)
        if found is None or len(found) < most:
            return timedelta(0)
        return min(found[0] + _WINDOW - now, _WINDOW)

    def _forget(self, now: datetime) -> None:
        if len(self._failures) > _MOST_KEYS:
            self._failures = {k: v for k, v in self._failures.items() if now - v[-1] < _WINDOW}


def _keys(name: str, address: str) -> tuple[tuple[_Key, int], ...]:
    return (("pair", name, address), _PAIR), (("address", "", address), _ADDRESS), (("name", name, ""), _NAME)
