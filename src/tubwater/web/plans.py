"""The plan as an ordered list with its time line and its last line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from tubwater.errors import InputError, Problem
from tubwater.services.visits import Visits, fill_a_wait
from tubwater.services.wishes import wishes_of
from tubwater.tub import Plan, Step, StepKind
from tubwater.web import about as asking
from tubwater.web.desk import Desk, Here
from tubwater.web.forms import asked_of_page, number_in
from tubwater.web.show import kept_page
from tubwater.web.turns import turns

__all__ = ["Row", "Stop", "plan_page", "router", "rows_of", "stops_of"]

router = APIRouter(include_in_schema=False)
router.include_router(asking.router)
_CLOSE = 19.0  # per cent of the time line, below which two stops are one
_WIDTHS = {False: 13.0, True: 32.0}  # of a time below the line, without and with its day, per cent on a phone


@dataclass(frozen=True)
class Row:
    """One thing to do.

    Attributes:
        number: as a visit counts it; waits are told with what they follow, and what fills one has 0.
        waits: the waits after it.
        cautions: told here for the first time. again: the number of the row that told the others, or 0.
    """

    number: int
    step: Step
    at: datetime
    waits: tuple[Step, ...]
    cautions: tuple[str, ...]
    again: int


@dataclass(frozen=True)
class Stop:
    """A mark of the time line: its place in per cent, its steps, and when the first of them begins.

    Attributes:
        dated: its day is told, being another than that of the mark before it. line: how far below the time stands.
    """

    place: float
    numbers: str
    at: datetime
    dated: bool = False
    line: int = 0

    @property
    def span(self) -> tuple[float, float]:
        """From where to where its time stands, per cent."""
        width = _WIDTHS[self.dated]
        left = min(max(self.place - 0.5 * width, 0.0), 100.0 - width)
        return left, left + width

    @property
    def anchor(self) -> str:
        """Which end of its time stands at its place."""
        left, right = self.span
        return "start" if left <= 0.0 else "end" if right >= 100.0 else "middle"

    @property
    def told_at(self) -> float:
        """Where its time stands, per cent, so that nothing of it is cut off."""
        return {"start": 0.0, "end": 100.0}.get(self.anchor, self.place)


@router.get("/tubs/{tub}/plan")
def plan_page(
    request: Request, desk: Here, tub: str, minutes: str = "", days: str = "", later_by: str = ""
) -> HTMLResponse:
    """What to do, for the minutes that the keeper has, on the usual visit or about something else."""
    file = desk.keeping.file(tub)
    problems: tuple[Problem, ...] = ()
    try:
        wishes = wishes_of(number_in("minutes", minutes), number_in("days", days) or 7.0, later_by.strip())
        wishes = replace(wishes, about=asking.about_in(asked_of_page(request)))
    except InputError as error:
        wishes, problems = wishes_of(), error.problems
    plan = desk.answers.plan(tub, wishes)
    desk.showed(request, tub, "plan", plan)

    def values() -> dict[str, Any]:
        rows = rows_of(desk, plan)
        stops, end = stops_of(desk, plan, rows)
        return {
            "tub": tub,
            "file": file,
            "units": file.units,
            "plan": plan,
            "rows": rows,
            "count": turns(plan.steps),
            "stops": stops,
            "ends": end,
            "lines": max((stop.line for stop in (*stops, end)), default=0),
            "length": _length(plan),
            "running": Visits(desk.keeping).current(tub),
            "asked": {"minutes": minutes, "days": days, "later_by": later_by},
            "about": asking.asked_in(asked_of_page(request)).fields if not problems else {},
        }

    return kept_page(request, "plan.html", (plan,), values, problems=problems)


def rows_of(desk: Desk, plan: Plan) -> list[Row]:
    """The things to do, each with the waits that follow it and each caution in full where it comes first."""
    rows: list[Row] = []
    told: dict[str, int] = {}
    for step, beside in zip(plan.steps, fill_a_wait(plan.steps), strict=True):
        if step.kind is StepKind.WAIT:
            if rows and rows[-1].step.kind is not StepKind.CHECK:
                rows[-1] = replace(rows[-1], waits=(*rows[-1].waits, step))
            continue
        number = 0 if beside else max((row.number for row in rows), default=0) + 1
        at = desk.local(plan.begins + timedelta(minutes=step.starts_at))
        new = tuple(key for key in step.cautions if key not in told)
        again = max((told[key] for key in step.cautions if key in told), default=0)
        told |= {key: number for key in new if number}
        rows.append(Row(number, step, at, (), new, again))
    return rows


def stops_of(desk: Desk, plan: Plan, rows: Sequence[Row]) -> tuple[list[Stop], Stop]:
    """The marks of the time line, and the one at which the visit ends."""
    length = max(_length(plan), 1.0)
    found: list[Stop] = []
    for row in rows:
        if not row.number or not _here(row.step) or row.step.starts_at > length:
            continue
        place = min(100.0 * row.step.starts_at / length, 90.0)
        if found and place - found[-1].place < _CLOSE:
            found[-1] = replace(found[-1], numbers=_and(found[-1].numbers, row.number))
        else:
            found.append(Stop(place, str(row.number), row.at))
    *stops, end = _laid([*found, Stop(100.0, "", desk.local(plan.begins + timedelta(minutes=length)))])
    return stops, end


def _laid(stops: Sequence[Stop]) -> list[Stop]:
    """The marks with their times on as few lines as they fit on."""
    laid: list[Stop] = []
    ends: list[float] = []  # where the last time of each line ends
    for stop in stops:
        stop = replace(stop, dated=bool(laid) and stop.at.date() != laid[-1].at.date())
        left, right = stop.span
        line = next((place for place, end in enumerate(ends) if end < left), len(ends))
        ends[line : line + 1] = [right]
        laid.append(replace(stop, line=line))
    return laid


def _and(numbers: str, number: int) -> str:
    first = numbers.split("–")[0]
    return f"{first}–{number}"


def _length(plan: Plan) -> float:
    """Minutes until the last step of this visit is over; what is handed over does not count."""
    return max((step.starts_at + step.minutes for step in plan.steps if _here(step)), default=0.0)


def _here(step: Step) -> bool:
    return not step.by and step.kind is not StepKind.HAND_OVER
