"""What eye, nose and hand last said, and what of it stands until somebody says that it is settled."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from tubwater.tub import Clarity, Event, Noticed, Sign

__all__ = ["SEEN_AT_EACH_TEST", "look_body", "newest_look", "standing_signs"]

# What a look at a test answers; every other sign stands until it is said to be settled.
SEEN_AT_EACH_TEST = frozenset({Sign.SLIME, Sign.STRONG_SMELL, Sign.LASTING_FOAM, Sign.PURPLE_INDICATOR})


def newest_look(events: Sequence[Event]) -> Noticed | None:
    """The newest look at a tub."""
    looks = [e for e in events if isinstance(e, Noticed)]
    return max(looks, key=lambda e: e.at) if looks else None


def standing_signs(events: Sequence[Event]) -> frozenset[Sign]:
    """The signs of the newest look; that a tub is closed stands in the record, and no look carries it on."""
    look = newest_look(events)
    return look.signs - {Sign.CLOSED} if look else frozenset()


def look_body(
    events: Sequence[Event],
    clarity: Clarity,
    seen: frozenset[Sign],
    answers: Mapping[str, Any],
    settled: frozenset[Sign] = frozenset(),
) -> dict[str, Any]:
    """A look as an entry's body.

    Args:
        seen: of the signs that each look answers. answers: further entries of the body.
        settled: of the other signs; all that are not named here stand on.
    """
    lasting = standing_signs(events) - SEEN_AT_EACH_TEST - settled
    return {"clarity": str(clarity), "signs": sorted(str(s) for s in seen | lasting), **answers}
