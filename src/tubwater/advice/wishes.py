"""What the keeper says about the visit and the days after it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

__all__ = ["Wishes"]


@dataclass(frozen=True)
class Wishes:
    """Attributes:
    minutes: how long the keeper stays, min; None is as long as it takes.
    days: until the next visit. later_by: who is there afterwards; empty for nobody named.
    guests_at: when people want to get in, or None.
    """

    minutes: float | None = None
    days: float = 7.0
    later_by: str = ""
    guests_at: datetime | None = None
