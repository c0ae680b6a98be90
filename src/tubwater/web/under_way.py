"""The visit of a tub that is under way, for pages that lead back to it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from tubwater.services.visits import Visits
from tubwater.web.desk import Desk

__all__ = ["UnderWay", "under_way"]

_A_DAY = timedelta(days=1)


@dataclass(frozen=True)
class UnderWay:
    """A visit that is not finished, and when it was begun."""

    visit: str
    begun: datetime


def under_way(desk: Desk, tub: str) -> UnderWay | None:
    """The visit that was begun within a day and is not finished; None where there is none."""
    return desk.answers.besides(tub, "under way", lambda: _found(desk, tub))


def _found(desk: Desk, tub: str) -> UnderWay | None:
    visits = Visits(desk.keeping)
    visit = visits.current(tub, since=desk.keeping.clock.now() - _A_DAY)
    return UnderWay(visit, visits.begun(tub, visit).at) if visit else None
