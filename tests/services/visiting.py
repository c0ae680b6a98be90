"""A clock that is set by hand, and how a visit is walked through and read off."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from tubwater.services.keeping import Keeping
from tubwater.services.ports import Kind
from tubwater.services.visits import Running, Told, Visits, What
from tubwater.services.visits_end import VisitEnd
from tubwater.tub import Dosed, StepKind

NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)


class Clock:
    def __init__(self) -> None:
        self.time = NOW

    def now(self) -> datetime:
        return self.time


def walk(visits: Visits, tub: str, visit: str, clock: Clock, until: StepKind, ph: float = 7.5) -> Running:
    """Does every step as planned until the first of a kind has its turn."""
    for _ in range(40):
        state = visits.show(tub, visit)
        if state.turn is None or state.turn.step.kind is until:
            return state
        if state.turn.step.kind is StepKind.WAIT:
            assert state.due is not None
            clock.time = state.due
        elif state.turn.step.kind is StepKind.TEST:
            visits.tell(tub, visit, Told(What.RETEST, state.turn.key, test={"method": "photometer", "pH": ph}))
        else:
            visits.tell(tub, visit, Told(What.DONE, state.turn.key))
            clock.time += timedelta(minutes=1)
    raise AssertionError("the visit never ends")


def oxidized(visits: Visits, tub: str, clock: Clock, pause: float) -> tuple[str, Running]:
    """A whole visit with monopersulfate in it, each step so many minutes later than the one before."""
    clock.time += timedelta(minutes=1)
    visits.keeping.record(tub, Kind.TEST, {"method": "photometer", "bromine": 3.0, "pH": 7.5})
    visit = visits.begin(tub)
    while (turn := visits.show(tub, visit).turn) is not None:
        clock.time = turn.due or clock.time + timedelta(minutes=pause)
        if turn.step.kind is StepKind.TEST:
            visits.tell(tub, visit, Told(What.RETEST, turn.key, test={"method": "photometer", "pH": 7.5}))
        elif turn.due is None:
            visits.tell(tub, visit, Told(What.DONE, turn.key))
    return visit, visits.show(tub, visit)


def from_when(end: VisitEnd) -> datetime:
    return datetime.fromisoformat(str(end.fit_when[0].values["time"]))


def key(state: Running) -> str:
    assert state.turn is not None
    return state.turn.key


def doses(keeping: Keeping, tub: str) -> list[tuple[str, float, bool]]:
    return [(e.product, e.grams, e.certain) for e in keeping.file(tub).events if isinstance(e, Dosed)]
