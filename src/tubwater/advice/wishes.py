"""What the keeper says about the visit and the days after it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

__all__ = ["Occasion", "Wishes"]


class Occasion(StrEnum):
    """What the visit is about."""

    USUAL = "usual"
    FRESH_WATER = "fresh water"  # about to be filled, or just filled
    UNKNOWN_HISTORY = "unknown history"  # water that somebody else kept


@dataclass(frozen=True)
class Wishes:
    """Attributes:
    minutes: how long the keeper stays, min; None is as long as it takes.
    days: until the next visit. later_by: who is there afterwards; empty for nobody named.
    guests_at: when people want to get in, or None. occasion: what the visit is about.
    """

    minutes: float | None = None
    days: float = 7.0
    later_by: str = ""
    guests_at: datetime | None = None
    occasion: Occasion = Occasion.USUAL
