"""The JSON interface of visits: state, answers under a name made by the phone, the packet, and the clock."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Path, Request
from pydantic import BaseModel, Field

from tubwater.errors import InputError
from tubwater.services.about import about_of
from tubwater.services.packet import Case, Packet, packet_of
from tubwater.services.visits import LONGEST_PAUSE, Running, Told, Visits, What, fill_a_wait
from tubwater.services.wishes import wishes_of
from tubwater.tub import Plan, Step, StepKind
from tubwater.tub.data import as_data
from tubwater.web.api import REFUSALS
from tubwater.web.desk import Desk, Here
from tubwater.web.visit_show import method_of, plans_of, screen_markup
from tubwater.web.visit_view import Screen, Where, fields_for, kind_of, words_for_phone

__all__ = ["BeginBody", "TellBody", "begin", "clock", "current", "packet", "router", "state_of", "tell"]

router = APIRouter(prefix="/api", tags=["visits"], responses=REFUSALS)
Name = Annotated[str, Path(min_length=1, max_length=100)]
_GAPS = ("%KEY%", "%NUMBER%", "%COUNT%")


class BeginBody(BaseModel):
    """What is said when a visit begins."""

    minutes: float | None = None
    days: float = 7.0
    later_by: str = Field(default="", max_length=100)
    about: str = Field(default="", max_length=100)
    say: dict[str, str] = Field(default_factory=dict)


class TellBody(BaseModel):
    """What is told of a visit; see the pages for what belongs to which word."""

    what: What
    step: str = Field(default="", max_length=40)
    at: datetime | None = None
    amount: str = Field(default="", max_length=60)
    measures: float | None = None
    test: dict[str, Any] = Field(default_factory=dict)
    noticed: dict[str, Any] = Field(default_factory=dict)
    about: str = Field(default="", max_length=120)
    to: str = Field(default="", max_length=100)
    case: str = Field(default="", max_length=120)
    saw: dict[str, str] = Field(default_factory=dict)


@router.get("/clock")
def clock(desk: Here) -> dict[str, str]:
    """The time here, for phones whose own clock may be wrong; none while the logbook is out of reach."""
    desk.keeping.store.tubs()
    return {"now": desk.keeping.clock.now().isoformat()}


@router.get("/tubs/{tub}/visit")
def current(desk: Here, tub: Name) -> dict[str, str | None]:
    """The visit of a tub that is under way, or null."""
    return {"visit": Visits(desk.keeping).current(tub)}


@router.put("/tubs/{tub}/visits/{visit}")
def begin(request: Request, desk: Here, tub: Name, visit: Name, body: BeginBody) -> dict[str, Any]:
    """Begins a visit under a name made by whoever begins it."""
    about = about_of(body.about, body.say) if body.about else None
    wishes = replace(wishes_of(body.minutes, body.days, body.later_by), about=about)
    visits = Visits(desk.keeping)
    visits.begin(tub, wishes, desk.source(request), visit)
    return _state(desk, tub, visit, visits.show(tub, visit))


@router.get("/tubs/{tub}/visits/{visit}")
def state_of(desk: Here, tub: Name, visit: Name) -> dict[str, Any]:
    """Where a visit stands."""
    return _state(desk, tub, visit, Visits(desk.keeping).show(tub, visit))


@router.put("/tubs/{tub}/visits/{visit}/told/{id}")
def tell(request: Request, desk: Here, tub: Name, visit: Name, id: Name, body: TellBody) -> dict[str, Any]:
    """Keeps what was told; the same name twice counts once."""
    if body.at is not None and body.at.tzinfo is None:
        raise InputError.one("at", body.at.isoformat(), "a time with its offset, such as 2026-11-20T09:00:00+01:00")
    if body.measures is not None and not 0.0 <= body.measures <= 1000.0:
        raise InputError.one("measures", body.measures, "a number of measures from 0 to 1000")
    told = Told(**body.model_dump())
    return _state(desk, tub, visit, Visits(desk.keeping).tell(tub, visit, told, desk.source(request), id))


@router.get("/tubs/{tub}/visits/{visit}/packet")
def packet(request: Request, desk: Here, tub: Name, visit: Name) -> dict[str, Any]:
    """Everything that a phone needs to go on without a network, with its screens as markup."""
    return _Packed(request, desk, packet_of(desk.keeping, tub, visit)).data()


def _state(desk: Desk, tub: str, visit: str, state: Running) -> dict[str, Any]:
    turn = state.turn
    return {
        "visit": visit,
        "phase": state.phase.value,
        "plans": plans_of(desk, tub, visit),
        "step": turn.key if turn else None,
        "kind": turn.step.kind.value if turn else None,
        "due": state.due.isoformat() if state.due else None,
        "asks": state.asks.value if state.asks else None,
        "added": as_data(list(state.added)),
        "replanned": as_data(list(state.replanned)),
        "last": state.last,
        "now": desk.keeping.clock.now().isoformat(),
    }


class _Packed:
    """A packet with its screens; the same screen of several plans is sent once."""

    def __init__(self, request: Request, desk: Desk, packet: Packet) -> None:
        self._request, self._desk, self._packet = request, desk, packet
        self._file = desk.keeping.file(packet.tub)
        self._method = method_of(desk, packet.tub)
        self._screens: list[str] = []

    def data(self) -> dict[str, Any]:
        """As plain data."""
        p = self._packet
        open_steps = [s.step for s in p.steps]
        rows = self._rows(open_steps, [s.beside for s in p.steps])
        for row, standing in zip(rows, p.steps, strict=True):
            row |= {"key": standing.key, "since": _iso(standing.since), "due": _iso(standing.due)}
        plans = [self._rows(plan.steps) for plan in p.plans]
        state = Visits(self._desk.keeping).show(p.tub, p.visit)
        return {
            "tub": p.tub,
            "visit": p.visit,
            "answered": {s.key: _iso(s.at) for s in state.steps if s.answered},
            "made": p.made.isoformat(),
            "number": p.number,
            "steps": rows,
            "cases": [_case(c) for c in p.cases],
            "tables": [as_data(t) for t in p.tables],
            "plans": [{"steps": steps, "first": _first_dose(plan)} for steps, plan in zip(plans, p.plans, strict=True)],
            "screens": self._screens,
            "words": words_for_phone(),
        }

    def _rows(self, steps: list[Step] | tuple[Step, ...], aside: list[bool] | None = None) -> list[dict[str, Any]]:
        """The rows of steps; ``aside``: for each whether it has no turn of its own, by the steps themselves if None."""
        rows = []
        for place, (step, beside) in enumerate(zip(steps, aside or fill_a_wait(steps), strict=True)):
            follows = steps[place + 1].minutes if self._waits(steps, place + 1) else 0.0
            row: dict[str, Any] = {"kind": step.kind.value, "minutes": step.minutes, "beside": beside}
            if step.amount:
                row |= {"product": step.amount.product, "grams": step.amount.grams, "measure": step.amount.measure}
                row |= {"one": step.amount.grams / step.amount.count if step.amount.count else 0.0}
            if not beside and step.kind in (StepKind.DOSE, StepKind.SET_FEEDER):
                row |= self._resting(step)
            rows.append(row | {"screen": -1 if beside else self._screen(step, follows)})
        return rows

    def _resting(self, step: Step) -> dict[str, Any]:
        """For how long a dose may be given by its test, and what is asked after a pause."""
        found: dict[str, Any] = {"asks": self._screen(step, 0.0, "asks"), "tested": None, "fresh": 0.0, "rests": ""}
        found["pause"] = LONGEST_PAUSE.total_seconds() / 60.0
        if step.kind is StepKind.DOSE:
            name, hours, at = Visits(self._desk.keeping).rests_on(self._packet.tub, step)
            found |= {"rests": name.replace(" ", "_"), "fresh": hours, "tested": _iso(at)}
        return found

    def _waits(self, steps: list[Step] | tuple[Step, ...], place: int) -> bool:
        return place < len(steps) and steps[place].kind is StepKind.WAIT

    def _screen(self, step: Step, wait: float, kind: str = "") -> int:
        where = Where(self._packet.tub, self._packet.visit, *_GAPS)
        bare = replace(step, minutes=0.0, starts_at=0.0) if step.kind is StepKind.WAIT else replace(step, starts_at=0.0)
        fields = fields_for(self._file, step, self._method)
        markup = screen_markup(
            self._request,
            self._file,
            Screen(kind or kind_of(step), where, bare, wait=wait, fields=fields, method=self._method),
        )
        if markup not in self._screens:
            self._screens.append(markup)
        return self._screens.index(markup)


def _iso(at: datetime | None) -> str | None:
    return at.isoformat() if at else None


def _case(case: Case) -> dict[str, Any]:
    reads: Mapping[str, float] = {str(q): v for q, v in case.reads.items()}
    return {
        "id": case.id,
        "step": case.step,
        "what": case.what.value,
        "factor": case.factor,
        "reads": reads,
        "plan": case.plan,
    }


def _first_dose(plan: Plan) -> dict[str, Any] | None:
    """By which two neighbours of a table are compared."""
    dose = next((s for s in plan.steps if s.kind is StepKind.DOSE and s.amount), None)
    return {"product": dose.amount.product, "grams": dose.amount.grams} if dose and dose.amount else None
