"""What the keeper says about the visit and the days after it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

__all__ = ["About", "Occasion", "Wishes"]


class Occasion(StrEnum):
    """What the visit is about."""

    USUAL = "usual"
    FRESH_WATER = "fresh water"  # about to be filled, or just filled
    UNKNOWN_HISTORY = "unknown history"  # water that somebody else kept


@dataclass(frozen=True)
class About:
    """What a plan is asked for, and what was said of it; None is "not said".

    Attributes:
        key: in ``facts/data/purposes.toml``. since: when it was begun, aware; what was done since then is not repeated.
        days: nobody bathes for so long, d. people, minutes: who bathes together, for how long, min.
        hours: without enough sanitizer, h. litres: to be changed, L.
        soft, target: calcium hardness of a second water to blend with, and of the blend, mg/L.
        metal, tap_metal: iron, copper or manganese in the tub and in the tap, mg/L.
    """

    key: str
    since: datetime | None = None
    days: float | None = None
    people: float | None = None
    minutes: float | None = None
    hours: float | None = None
    litres: float | None = None
    soft: float | None = None
    target: float | None = None
    metal: float | None = None
    tap_metal: float | None = None


@dataclass(frozen=True)
class Wishes:
    """Attributes:
    minutes: how long the keeper stays, min; None is as long as it takes.
    days: until the next visit. later_by: who is there afterwards; empty for nobody named.
    guests_at: when people want to get in, or None. occasion: what the visit is about.
    about: what else the plan is asked for, or None.
    """

    minutes: float | None = None
    days: float = 7.0
    later_by: str = ""
    guests_at: datetime | None = None
    occasion: Occasion = Occasion.USUAL
    about: About | None = None
