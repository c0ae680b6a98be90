"""Too little sanitizer, and for how long: as it was told, or as the readings show it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from tubwater.facts import defaults

__all__ = ["Lapse", "read_lapse", "told_lapse"]


@dataclass(frozen=True)
class Lapse:
    """Too little sanitizer: "lapse" with its hours, "lapse-unknown" without, or "long-lapse"."""

    kind: str
    since: datetime
    hours: float | None


def told_lapse(at: datetime, hours: float) -> Lapse | None:
    """What somebody said; None where it was short."""
    if hours <= defaults()["lapse_hours"].value:
        return None
    return Lapse("long-lapse" if _long(hours) else "lapse", at, hours)


def read_lapse(
    low: Sequence[datetime], none: Sequence[datetime], good: Sequence[datetime], fed: Sequence[datetime]
) -> Lapse | None:
    """From readings alone: too low with no good reading in the day before, for an unknown time; or next to nothing
    twice, more than a week apart, with no good reading and nothing that sanitizes between.

    Args:
        low, none, good: when the sanitizer read below the limit, next to nothing, and enough, newest first.
        fed: when something that sanitizes went in.
    """
    if not low:
        return None
    newest, span = low[0], timedelta(hours=defaults()["lapse_hours"].value)
    if any(newest - span <= at < newest for at in good):
        return None
    ends = [at for at in (*good, *fed) if at < newest]
    run = [at for at in none if not ends or at > max(ends)] if newest in none else []
    hours = (newest - min(run)) / timedelta(hours=1) if run else 0.0
    return Lapse("long-lapse", newest, hours) if _long(hours) else Lapse("lapse-unknown", newest, None)


def _long(hours: float) -> bool:
    return hours > defaults()["long_lapse_hours"].value
