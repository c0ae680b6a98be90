"""We got out: people and minutes, answered with the dose."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse

from tubwater.errors import InputError, UnknownEntry
from tubwater.services.ports import Kind
from tubwater.services.soaks import SoakAnswer, answer_to_soak
from tubwater.services.tubfile import TubFile
from tubwater.tub import Dosed, Plan, Soaked
from tubwater.web.desk import Desk, Here
from tubwater.web.forms import Sent, SentForm, moment_of
from tubwater.web.show import kept_page, page

__all__ = ["answer_of", "dosed", "got_out", "got_out_form", "router", "soak_answer"]

router = APIRouter(include_in_schema=False)
_TYPED = ("other_people", "other_minutes", "at")


@router.get("/tubs/{tub}/out")
def got_out_form(request: Request, desk: Here, tub: str) -> HTMLResponse:
    """How many, for how long."""
    return _form(request, desk, tub)


@router.post("/tubs/{tub}/out", response_model=None)
def got_out(request: Request, desk: Here, tub: str, sent: SentForm) -> HTMLResponse | RedirectResponse:
    """Keeps a soak and leads to the dose after it."""
    key = sent.text("key") or desk.keeping.names.fresh()
    minutes = sent.text("other_minutes") or sent.text("minutes", "30")
    try:
        people = sent.number("other_people") or sent.number("people")
        body = {"people": people, "lasted": f"{minutes} min", **moment_of(desk, sent)}
        desk.keeping.record(tub, Kind.SOAKED, body, desk.source(request), key)
    except InputError as error:
        return _form(request, desk, tub, sent, error)
    return RedirectResponse(f"/tubs/{tub}/out/{key}", 303)


@router.get("/tubs/{tub}/out/{entry}")
def soak_answer(request: Request, desk: Here, tub: str, entry: str) -> HTMLResponse:
    """What goes in after this soak."""
    file = desk.keeping.file(tub)
    people, minutes, answer = answer_of(desk, tub, entry)
    known = {x.stored.entry.id for x in desk.keeping.history(tub) if x.stands}
    values = {
        "tub": tub,
        "file": file,
        "units": file.units,
        "people": people,
        "minutes": minutes,
        "answer": answer,
        "done": f"{entry}-dose" in known,
        "key": f"{entry}-dose",
        "entry": entry,
    }
    return page(request, "soaked.html", values)


@router.post("/tubs/{tub}/out/{entry}/dosed")
def dosed(request: Request, desk: Here, tub: str, entry: str, sent: SentForm) -> RedirectResponse:
    """The dose after a soak went in."""
    body = {"product": sent.text("product"), "amount": f"{sent.text('grams')} g"}
    desk.keeping.record(tub, Kind.DOSED, body, desk.source(request), f"{entry}-dose")
    return RedirectResponse(f"/tubs/{tub}/out/{entry}", 303)


def answer_of(desk: Desk, tub: str, entry: str) -> tuple[float, float, SoakAnswer]:
    """People and minutes of a soak that was entered, and what goes in after it.

    Raises:
        UnknownEntry: the logbook of this tub holds no such soak.
    """
    file, line = desk.keeping.file(tub), desk.keeping.line(tub, entry)
    soak = next((e for e in file.events if isinstance(e, Soaked) and e.at == line.happened), None)
    if soak is None or line.stored.entry.kind is not Kind.SOAKED:
        raise UnknownEntry("soak", entry)
    return soak.people, soak.minutes, _answer(desk, file, desk.answers.plan(tub), soak.people, soak.minutes)


def _answer(desk: Desk, file: TubFile, plan: Plan, people: float, minutes: float) -> SoakAnswer:
    product = plan.after_soak.amount.product if plan.after_soak else ""
    since = desk.keeping.clock.now() - timedelta(days=1)
    given = sum(e.grams for e in file.events if isinstance(e, Dosed) and e.product == product and e.at >= since)
    return answer_to_soak(plan, file.shelf, people, minutes, given)


def _form(
    request: Request, desk: Desk, tub: str, sent: Sent | None = None, error: InputError | None = None
) -> HTMLResponse:
    file = desk.file(tub)

    def values() -> dict[str, Any]:
        usual = (file.tub.people_per_soak or 2.0, file.tub.minutes_per_soak or 30.0)
        return {
            "tub": tub,
            "file": file,
            "key": (sent.text("key") if sent else "") or desk.keeping.names.fresh(),
            "people": sent.text("people") if sent else f"{usual[0]:g}",
            "minutes": sent.text("minutes") if sent else f"{usual[1]:g}",
            "sent": {name: sent.text(name) if sent else "" for name in _TYPED},
        }

    return kept_page(request, "out.html", (file,), values, problems=error.problems if error else ())
