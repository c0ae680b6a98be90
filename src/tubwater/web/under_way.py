"""The visit of a tub that is under way, for pages that lead back to it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from tubwater.services.beside import running_of
from tubwater.services.ports import Kind
from tubwater.services.visits import Phase, What
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
    entries, now = desk.keeping.entries(tub), desk.keeping.clock.now()
    visits = (s.entry for s in reversed(entries) if s.entry.kind is Kind.VISIT)
    newest = next((one for one in visits if one.body["what"] == What.BEGUN), None)
    if newest is None or now - newest.happened > _A_DAY:
        return None
    visit = str(newest.body["visit"])
    state = running_of(entries, visit, now)
    going = state is not None and state.phase in (Phase.RUNNING, Phase.LEFT)
    return UnderWay(visit, newest.happened) if going else None
