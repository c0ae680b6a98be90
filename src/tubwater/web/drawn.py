"""What was drawn of an answer, kept as long as that answer is the one that stands."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from operator import is_
from threading import Lock

__all__ = ["Drawn"]

_MOST = 100


class Drawn:
    """Pages and pictures by what they are, each for the very answers it was drawn of; several threads may ask."""

    def __init__(self) -> None:
        self._kept: OrderedDict[Hashable, tuple[tuple[object, ...], str]] = OrderedDict()
        self._lock = Lock()

    def once(self, key: Hashable, of: tuple[object, ...], draw: Callable[[], str]) -> str:
        """What ``draw`` makes of the answers ``of``; drawn anew as soon as one of them is another."""
        with self._lock:
            kept = self._kept.get(key)
        if kept is not None and len(kept[0]) == len(of) and all(map(is_, kept[0], of)):
            return kept[1]
        made = draw()
        with self._lock:
            self._kept[key] = (of, made)
            self._kept.move_to_end(key)
            while len(self._kept) > _MOST:
                self._kept.popitem(last=False)
        return made
