"""A visit as a page, and its screens as markup for a page or a packet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from fastapi import Request
from fastapi.responses import HTMLResponse
from markupsafe import Markup

from tubwater.errors import Problem
from tubwater.reports.plain import amount_text
from tubwater.reports.scale import span_words, with_unit
from tubwater.reports.text import text_of
from tubwater.services.ports import Kind
from tubwater.services.tubfile import TubFile, UnitSystem
from tubwater.services.visits import Running, Standing, Visits, What
from tubwater.services.visits_end import end_of_visit
from tubwater.tub import Amount, Expectation, Step
from tubwater.web.desk import Desk
from tubwater.web.forms import Sent
from tubwater.web.made_anew import made_anew
from tubwater.web.show import kept_page, markup, page
from tubwater.web.visit_lines import lines_of, rest_of
from tubwater.web.visit_view import Screen, Where, screen_of, visit_words, weight_parts

__all__ = ["Clash", "method_of", "plans_of", "screen_markup", "visit_page"]


@dataclass(frozen=True)
class Clash:
    """Who had said something about the same step before."""

    by: str
    at: datetime
    what: str


@dataclass(frozen=True)
class _Added:
    at: datetime
    by: str
    certain: bool
    text: str


@dataclass(frozen=True)
class _Doubted:
    """A dose that is asked about: a screen for its forms, what was entered, and what the step says."""

    screen: Screen
    said: str
    planned: str


def visit_page(
    request: Request,
    desk: Desk,
    tub: str,
    visit: str,
    state: Running,
    problems: Sequence[Problem] = (),
    clash: Clash | None = None,
    method: str = "",
    joined: bool = False,
    sent: Sent | None = None,
) -> HTMLResponse:
    """The visit as it stands: one screen, and below it what went in so far; ``sent`` is what was refused."""
    file = desk.file(tub)
    verdict, chosen = desk.answers.verdict(tub), method or method_of(desk, tub)

    def values() -> dict[str, Any]:
        screen, end = screen_of(file, tub, visit, state, chosen, sent), end_of_visit(desk.answers.case(tub), state)
        screen = replace(screen, step=end.said_in(screen.step)) if screen else None
        return {
            **_common(file.units),
            "tub": tub,
            "visit": visit,
            "file": file,
            "state": state,
            "screen": screen,
            "lines": lines_of(state),
            "rest": rest_of(state),
            "end": end,
            "doubted": _doubted(file, Where(tub, visit, "", "", ""), state.doubted, sent),
            "shown": Markup(screen_markup(request, file, screen)) if screen else "",
            "anew": made_anew(desk, tub, visit, state) if screen else "",
            "plans": plans_of(desk, tub, visit),
            "added": _added(desk, file, state),
            "key": desk.keeping.names.fresh(),
            "later_by": Visits(desk.keeping).wishes(tub, visit).later_by,
            "verdict": verdict,
            "problems": problems,
            "conflict": clash,
            "joined": _joined(desk, tub, visit) if joined else None,
        }

    if clash or problems:
        return page(request, "visit.html", values(), 409 if clash else 422)
    turn = state.turn.key if state.turn else ""  # what passing time alone changes of a visit
    return kept_page(request, "visit.html", (file, verdict), values, (chosen, turn, state.asks, state.phase, state.due))


def screen_markup(request: Request, file: TubFile, screen: Screen) -> str:
    """One screen as markup."""
    return markup(request, "visit_screen.html", {**_common(file.units), "s": screen})


def method_of(desk: Desk, tub: str) -> str:
    """The method that a tub was tested with last."""
    return desk.method(tub) or "strip"


def plans_of(desk: Desk, tub: str, visit: str) -> int:
    """How many plans a visit has had."""
    said = (s.entry.body for s in desk.keeping.entries(tub) if s.entry.kind is Kind.VISIT)
    return sum(body["visit"] == visit and body["what"] in (What.BEGUN, What.REPLANNED) for body in said)


def _joined(desk: Desk, tub: str, visit: str) -> Clash:
    begun = Visits(desk.keeping).begun(tub, visit)
    return Clash(desk.called(begun.by), begun.at, "")


def _common(units: UnitSystem) -> dict[str, Any]:
    return {
        "units": units,
        "words": visit_words,
        "weight": lambda amount: weight_parts(amount, units),
        "expected": lambda step: _expected(step, units),
    }


def _expected(step: Step, units: UnitSystem) -> str:
    def said(one: Expectation) -> str:
        span = with_unit(span_words(one.low, one.high, one.quantity, units), one.quantity, units)
        return f"{text_of('quantity', one.quantity)} {span}"

    return ", ".join(said(one) for one in step.expected)


def _added(desk: Desk, file: TubFile, state: Running) -> list[_Added]:
    amounts = {s.entry: s.step.amount for s in state.steps if s.step.amount}
    rows = []
    for one in state.added:
        planned = amounts[one.entry]
        assert planned is not None
        text = amount_text(_so_much(planned, one.grams), file.units)
        rows.append(_Added(one.at, desk.called(one.by), one.certain, text))
    return rows


def _so_much(planned: Amount, grams: float) -> Amount:
    """Another weight of the same, in the same measure."""
    share = grams / planned.grams if planned.grams else 0.0
    return replace(planned, grams=grams, count=planned.count * share, millilitres=planned.millilitres * share)


def _doubted(file: TubFile, where: Where, row: Standing | None, sent: Sent | None) -> _Doubted | None:
    """What is asked about; while something else that was ``sent`` is refused, nothing is."""
    planned = row.step.amount if row else None
    if row is None or planned is None or (sent and sent.text("step") != row.key):
        return None
    said, step = weight_parts(_so_much(planned, row.grams), file.units), weight_parts(planned, file.units)
    screen = Screen("doubt", replace(where, key=row.key), row.step, amount=sent.text("amount") if sent else "")
    return _Doubted(screen, " ".join(said), " ".join(step))
