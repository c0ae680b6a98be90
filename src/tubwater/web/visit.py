"""The visit beside one tub, one step a screen; every page works without scripts."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse

from tubwater.errors import Conflict, InputError
from tubwater.services.visits import Running, Told, Visits, What
from tubwater.services.wishes import wishes_of
from tubwater.web.about import Asked, about_in, asked_in
from tubwater.web.desk import Desk, Here
from tubwater.web.forms import Sent, SentForm, asked_of_page, look_of, moment_of, test_of
from tubwater.web.next import next_thing
from tubwater.web.show import page
from tubwater.web.visit_show import Clash, visit_page
from tubwater.web.visit_view import visit_words

__all__ = ["begin", "begin_form", "router", "show", "tell"]

router = APIRouter(include_in_schema=False)
_USUAL = Asked("", {})


@router.get("/tubs/{tub}/visit", response_model=None)
def begin_form(request: Request, desk: Here, tub: str) -> HTMLResponse | RedirectResponse:
    """Asks how long and who is there later; leads to the visit that is under way where there is one."""
    current = Visits(desk.keeping).current(tub)
    if current is not None:
        return RedirectResponse(f"/tubs/{tub}/visit/{current}", 303)
    return _form(request, desk, tub, asked=asked_in(asked_of_page(request)))


@router.post("/tubs/{tub}/visit", response_model=None)
def begin(request: Request, desk: Here, tub: str, sent: SentForm) -> HTMLResponse | RedirectResponse:
    """Begins the visit; where one is under way already, leads to it."""
    try:
        wishes = wishes_of(sent.number("minutes"), sent.number("days", 7.0) or 7.0, sent.text("later_by"))
        wishes = replace(wishes, about=about_in(sent))
        visit = Visits(desk.keeping).begin(tub, wishes, desk.source(request), sent.text("key"))
    except Conflict as error:
        return RedirectResponse(f"/tubs/{tub}/visit/{error.stands}?joined=1", 303)
    except InputError as error:
        return _form(request, desk, tub, error, asked_in(sent))
    return RedirectResponse(f"/tubs/{tub}/visit/{visit}", 303)


@router.get("/tubs/{tub}/visit/{visit}")
def show(request: Request, desk: Here, tub: str, visit: str, method: str = "", joined: bool = False) -> HTMLResponse:
    """The step whose turn it is; whoever wanted to begin one and joins this is told so."""
    state = Visits(desk.keeping).show(tub, visit)
    return visit_page(request, desk, tub, visit, state, method=method, joined=joined)


@router.post("/tubs/{tub}/visit/{visit}", response_model=None)
def tell(request: Request, desk: Here, tub: str, visit: str, sent: SentForm) -> HTMLResponse | RedirectResponse:
    """Keeps what was said and leads to the next screen."""
    visits = Visits(desk.keeping)
    try:
        visits.tell(tub, visit, _told(desk, tub, sent), desk.source(request), sent.text("key"))
    except InputError as error:
        return visit_page(request, desk, tub, visit, visits.show(tub, visit), error.problems, sent=sent)
    except Conflict as error:
        state = visits.show(tub, visit)
        return visit_page(request, desk, tub, visit, state, clash=_clash(desk, state, error.stands))
    return RedirectResponse(f"/tubs/{tub}/visit/{visit}", 303)


def _form(
    request: Request, desk: Desk, tub: str, error: InputError | None = None, asked: Asked = _USUAL
) -> HTMLResponse:
    coming = next_thing(desk, tub)
    values: dict[str, Any] = {
        "tub": tub,
        "file": desk.keeping.file(tub),
        "words": visit_words,
        "count": coming.steps,
        "minutes": coming.minutes,
        "key": desk.keeping.names.fresh(),
        "about": asked.fields,
        "problems": error.problems if error else (),
    }
    return page(request, "visit_begin.html", values, 422 if error else 200)


def _told(desk: Desk, tub: str, sent: Sent) -> Told:
    what = What(sent.word("what", What, ""))
    at = moment_of(desk, sent).get("at")
    test = test_of(desk, sent) if what is What.RETEST else {}
    look = look_of(desk, sent, desk.keeping.file(tub)) if what is What.RETEST else None
    saw = {k: sent.text(f"saw_{k}") for k in ("kind", "product") if sent.text(f"saw_{k}")}
    return Told(
        what,
        sent.text("step"),
        datetime.fromisoformat(at) if at else None,
        sent.text("amount"),
        sent.number("measures"),
        test,
        look or {},
        sent.text("about"),
        sent.text("to"),
        sent.text("case"),
        saw,
    )


def _clash(desk: Desk, state: Running, entry: str) -> Clash:
    row = next((s for s in state.steps if s.entry == entry and entry), None)
    if row is None or row.at is None:
        return Clash("", state.begun, visit_words("status.done"))
    return Clash(desk.called(row.by), row.at, visit_words(f"status.{row.status.value}"))
