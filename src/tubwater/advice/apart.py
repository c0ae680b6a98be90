"""Products that never meet, put into as few places as keep them apart."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

__all__ = ["places_apart"]


def places_apart(names: Sequence[str], never: Iterable[tuple[str, str]]) -> tuple[tuple[str, ...], ...]:
    """The names in groups none of which holds a pair of ``never``, those with most enemies placed first.

    Greedy colouring (Welsh and Powell 1967, cited from memory): at most one place more than the most enemies of one.
    """
    enemies: dict[str, set[str]] = {name: set() for name in names}
    for first, second in never:
        enemies[first].add(second)
        enemies[second].add(first)
    places: list[list[str]] = []
    for name in sorted(names, key=lambda name: -len(enemies[name])):
        place = next((group for group in places if not enemies[name].intersection(group)), None)
        if place is None:
            places.append(place := [])
        place.append(name)
    return tuple(tuple(sorted(group, key=list(names).index)) for group in places)
