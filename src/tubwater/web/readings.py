"""Enter a test: what a method shows, how the water looks, and at once what it changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse

from tubwater.errors import InputError
from tubwater.services.kits import BESIDE_A_TUB, asked_of, asked_of_feeder, sanitizer_of, wait_seconds
from tubwater.services.looks import standing_signs
from tubwater.services.ports import Kind
from tubwater.services.record import asks_for_record
from tubwater.services.tested import LastReading, Odd, last_readings, odd_readings, water_without
from tubwater.services.tubfile import TubFile
from tubwater.services.visits import Visits
from tubwater.tub import Expectation, Quantity
from tubwater.web.desk import Desk, Here
from tubwater.web.forms import Sent, SentForm, look_of, test_of
from tubwater.web.next import next_thing
from tubwater.web.pads import Field, field_of
from tubwater.web.show import kept_page

__all__ = ["USUAL", "Changed", "before_form", "changed_by", "enter", "enter_before", "router", "test_form", "tested"]

router = APIRouter(include_in_schema=False)
USUAL = "strip"
_ANSWERS = ("clarity", "at", "soak_not_noted", "jets", "bathers", "guest")
_NOTHING = dict.fromkeys(_ANSWERS, "")


@dataclass(frozen=True)
class Changed:
    """What a test changed: each quantity without it and with it, what was read, and what of it is doubted."""

    before: Sequence[Expectation]
    after: Sequence[Expectation]
    readings: tuple[LastReading, ...]
    odd: tuple[Odd, ...]
    suspects: tuple[str, ...]


@router.get("/tubs/{tub}/test")
def test_form(request: Request, desk: Here, tub: str, method: str = "") -> HTMLResponse:
    """The form for a test with the method used last, or another."""
    return _form(request, desk, tub, method)


@router.get("/tubs/{tub}/before")
def before_form(request: Request, desk: Here, tub: str, method: str = "") -> HTMLResponse:
    """Before a soak: sanitizer and pH only, and whether anybody was in."""
    return _form(request, desk, tub, method, before=True)


@router.post("/tubs/{tub}/test", response_model=None)
def enter(request: Request, desk: Here, tub: str, sent: SentForm) -> HTMLResponse | RedirectResponse:
    """Keeps a test and what was seen with it."""
    return _enter(request, desk, tub, sent, before=False)


@router.post("/tubs/{tub}/before", response_model=None)
def enter_before(request: Request, desk: Here, tub: str, sent: SentForm) -> HTMLResponse | RedirectResponse:
    """Keeps a test made before a soak."""
    return _enter(request, desk, tub, sent, before=True)


@router.get("/tubs/{tub}/tested/{entry}")
def tested(request: Request, desk: Here, tub: str, entry: str, checked: bool = False) -> HTMLResponse:
    """What a test changed, the verdict, and the first thing to do."""
    file, found = desk.keeping.file(tub), changed_by(desk, tub, entry)
    verdict, coming, water = desk.answers.verdict(tub), next_thing(desk, tub), desk.answers.water(tub)

    def values() -> dict[str, Any]:
        return {
            "tub": tub,
            "file": file,
            "entry": entry,
            "units": file.units,
            "verdict": verdict,
            "next": coming,
            "running": Visits(desk.keeping).current(tub),
            "changed": list(zip(found.before, found.after, strict=True)),
            "odd": () if checked else found.odd,
            "readings": found.readings,
            "suspects": found.suspects,
        }

    return kept_page(request, "tested.html", (verdict, coming.plan, water, coming.dues), values)


def changed_by(desk: Desk, tub: str, entry: str) -> Changed:
    """What a test that was entered changed in the belief.

    Raises:
        UnknownEntry: the logbook of this tub does not hold it.
    """
    file, line, unread = desk.keeping.file(tub), desk.keeping.line(tub, entry), (entry, f"{entry}-look")
    before = desk.answers.besides(tub, unread, lambda: water_without(desk.keeping, tub, unread))
    after = desk.answers.water(tub)
    readings = tuple(r for r in last_readings(file.events).values() if r.at == line.happened)
    return Changed(before.quantities, after.quantities, readings, odd_readings(before, readings), after.suspects)


def _enter(request: Request, desk: Desk, tub: str, sent: Sent, before: bool) -> HTMLResponse | RedirectResponse:
    file, source = desk.keeping.file(tub), desk.source(request)
    key = sent.text("key") or desk.keeping.names.fresh()
    look = look_of(desk, sent, file)
    try:
        desk.keeping.record(tub, Kind.TEST, _something(test_of(desk, sent)), source, key)
    except InputError as error:
        return _form(request, desk, tub, sent.text("method"), before, sent, error)
    if look is not None:
        desk.keeping.record(tub, Kind.NOTICED, look, source, f"{key}-look")
    desk.remember(tub, sent.text("method"))
    return RedirectResponse(f"/tubs/{tub}/tested/{key}", 303)


def _something(body: dict[str, object]) -> dict[str, object]:
    if set(body) <= {"method", "at", "scale", "jets", "bathers", "guest"}:
        raise InputError.one("reading", "nothing", "at least one reading")
    return body


def _form(
    request: Request,
    desk: Desk,
    tub: str,
    method: str,
    before: bool = False,
    sent: Sent | None = None,
    error: InputError | None = None,
) -> HTMLResponse:
    file = desk.file(tub)
    chosen = method if method in BESIDE_A_TUB else desk.method(tub) or USUAL

    def values() -> dict[str, Any]:
        return {
            "tub": tub,
            "file": file,
            "method": chosen,
            "methods": BESIDE_A_TUB,
            "fields": _fields(file, chosen, before, sent),
            "scale": sent.text("scale") if sent else desk.scale(tub, chosen),
            "seconds": wait_seconds(chosen),
            "key": (sent.text("key") if sent else "") or desk.keeping.names.fresh(),
            "signs": sent.all("sign") if sent else [str(s) for s in standing_signs(file.events)],
            "sent": {name: sent.text(name) for name in _ANSWERS} if sent else _NOTHING,
            "before": before,
            "sampling": asks_for_record(file.tub),
        }

    return kept_page(request, "test.html", (file,), values, chosen, error.problems if error else ())


def _fields(file: TubFile, method: str, before: bool, sent: Sent | None) -> list[Field]:
    only = (sanitizer_of(file.tub), Quantity.PH) if before else ()
    last = last_readings(file.events)
    feeder = () if before else asked_of_feeder(file.tub, file.events)
    wanted = (*asked_of(method, file.tub, only), *feeder)
    return [field_of(asked, last.get(asked.quantity), sent) for asked in wanted]
