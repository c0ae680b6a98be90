"""The visit of a tub that is under way, for pages that lead back to it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from tubwater.services.beside import running_of
from tubwater.services.visits import Visits
from tubwater.web.desk import Desk

__all__ = ["UnderWay", "under_way"]

_A_DAY = timedelta(days=1)


@dataclass(frozen=True)
class UnderWay:
    """A visit that is not finished, and when it was begun.

    Attributes:
        left: whether nobody is beside the tub any more. to: whom it was handed over to, or empty.
    """

    visit: str
    begun: datetime
    left: bool = False
    to: str = ""


def under_way(desk: Desk, tub: str) -> UnderWay | None:
    """The visit that was begun within a day and is not finished; None where there is none."""
    return desk.answers.besides(tub, "under way", lambda: _found(desk, tub))


def _found(desk: Desk, tub: str) -> UnderWay | None:
    visits = Visits(desk.keeping)
    visit = visits.current(tub, since=desk.keeping.clock.now() - _A_DAY)
    if visit is None:
        return None
    state = running_of(desk.keeping.entries(tub), visit, desk.keeping.clock.now())
    handed = state.handed if state else None
    return UnderWay(visit, visits.begun(tub, visit).at, handed is not None, handed.to if handed else "")
