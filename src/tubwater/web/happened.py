"""Something happened: keep out at once, and the first steps."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse

from tubwater.errors import InputError
from tubwater.services.happened import all_happened, find_happened, happened_body, settled_body
from tubwater.services.looks import SEEN_AT_EACH_TEST, standing_signs
from tubwater.services.ports import Kind
from tubwater.tub import Reason, Sign
from tubwater.web.desk import Here
from tubwater.web.forms import SentForm
from tubwater.web.show import explain, kept_page

__all__ = ["choose", "first_steps", "note", "router", "settle"]

router = APIRouter(include_in_schema=False)


@router.get("/tubs/{tub}/happened")
def choose(request: Request, desk: Here, tub: str) -> HTMLResponse:
    """What happened, and what of it still stands."""
    file = desk.file(tub)

    def values() -> dict[str, Any]:
        standing = [str(s) for s in standing_signs(file.events) - SEEN_AT_EACH_TEST]
        return {"tub": tub, "file": file, "kinds": tuple(all_happened().values()), "standing": sorted(standing)}

    return kept_page(request, "happened.html", (file,), values)


@router.post("/tubs/{tub}/happened")
def note(request: Request, desk: Here, tub: str, sent: SentForm) -> RedirectResponse:
    """Keeps people out at once and leads to the first steps."""
    what = find_happened(sent.text("what"))
    body = happened_body(desk.keeping.file(tub).events, what, sent.number("hours"))
    desk.keeping.record(tub, Kind.NOTICED, body, desk.source(request), sent.text("key"))
    return RedirectResponse(f"/tubs/{tub}/happened/{what.key}", 303)


@router.get("/tubs/{tub}/happened/{what}")
def first_steps(request: Request, desk: Here, tub: str, what: str) -> HTMLResponse:
    """The first steps, in order."""
    found, file, verdict = find_happened(what), desk.file(tub), desk.answers.verdict(tub)

    def values() -> dict[str, Any]:
        basis = explain(Reason("", basis=found.basis))
        return {"tub": tub, "file": file, "units": file.units, "what": found, "basis": basis, "verdict": verdict}

    return kept_page(request, "first_steps.html", (file, verdict), values)


@router.post("/tubs/{tub}/settled")
def settle(request: Request, desk: Here, tub: str, sent: SentForm) -> RedirectResponse:
    """Says that a sign is settled; the drain has to be looked at and the water tested after it."""
    try:
        sign = Sign(sent.text("sign"))
    except ValueError:
        raise InputError.one("sign", sent.text("sign"), f"one of {', '.join(Sign)}") from None
    body = settled_body(desk.keeping.file(tub).events, sign)
    desk.keeping.record(tub, Kind.NOTICED, body, desk.source(request), sent.text("key"))
    return RedirectResponse(f"/tubs/{tub}/test", 303)
