"""The logbook: everything that happened, to be corrected or withdrawn, never erased."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse

from tubwater.errors import InputError
from tubwater.reports.text import kinds, text_of
from tubwater.services.effective import Line
from tubwater.services.happenings import between
from tubwater.services.kits import BESIDE_A_TUB
from tubwater.services.lookup import regular_care
from tubwater.services.papers import GERM_KEYS, METALS, SOURCE_QUANTITIES
from tubwater.services.ports import Kind
from tubwater.tub import ClosedWhy, Shelf
from tubwater.web.desk import Desk, Here
from tubwater.web.diary import shown_lines
from tubwater.web.forms import Sent, SentForm, moment_of, share_in
from tubwater.web.show import kept_page

__all__ = ["add", "add_form", "correct", "entry_page", "logbook", "router", "withdraw"]

router = APIRouter(include_in_schema=False)
_A_PAGE = 60
_SHARE = "opening"  # 0 to 1 in the logbook and in files, per cent for a person
_TEXTS = frozenset(("reason", "by", "name", "qualification", "laboratory", "point"))  # stand as they are written
_SOURCE = tuple(quantity.value.replace(" ", "_") for quantity in SOURCE_QUANTITIES)
_NEW: Mapping[Kind, tuple[str, ...]] = {
    Kind.DOSED: ("product", "amount", "measures"),
    Kind.FEEDER: ("product", "tablets", "opening"),
    Kind.FILLED: ("volume",),
    Kind.DRAINED: ("volume",),
    Kind.CARED: ("task",),
    Kind.SAMPLED: ("laboratory", "report", "taken", "point", *GERM_KEYS, "sanitizer", "pH"),
    Kind.APPOINTED: ("name", "qualification"),
    Kind.SOURCE_WATER: (*_SOURCE, *METALS, "dissolved_solids", "report"),
    Kind.OPENING_HOURS: ("opens", "closes"),
    Kind.CLOSED: ("why", "reason", "by"),
    Kind.REOPENED: ("reason",),
}


@router.get("/tubs/{tub}/logbook")
def logbook(request: Request, desk: Here, tub: str, older: int = 0) -> HTMLResponse:
    """What happened, the newest first, a page at a time."""
    file, start = desk.file(tub), min(max(older, 0), 10_000)

    def values() -> dict[str, Any]:
        lines = shown_lines(desk, desk.keeping.history(tub), file.units)
        return {
            "tub": tub,
            "file": file,
            "lines": lines[start : start + _A_PAGE],
            "older": start + _A_PAGE if len(lines) > start + _A_PAGE else 0,
            "newer": start > 0,
            "count": len(lines),
            "kinds": [str(kind) for kind in _NEW],
        }

    return kept_page(request, "logbook.html", (file,), values)


@router.get("/tubs/{tub}/add/{kind}")
def add_form(request: Request, desk: Here, tub: str, kind: Kind) -> HTMLResponse:
    """An entry by hand: a dose, the feeder, a fill, a drain, a task of care."""
    return _add_form(request, desk, tub, kind)


@router.post("/tubs/{tub}/add/{kind}", response_model=None)
def add(request: Request, desk: Here, tub: str, kind: Kind, sent: SentForm) -> HTMLResponse | RedirectResponse:
    """Keeps an entry made by hand."""
    try:
        body = {**_typed(sent, _NEW.get(kind, ())), **_taken(desk, sent), **moment_of(desk, sent)}
        desk.keeping.record(tub, kind, body, desk.source(request), sent.text("key"))
    except InputError as error:
        return _add_form(request, desk, tub, kind, sent, error)
    return RedirectResponse(f"/tubs/{tub}", 303)


@router.get("/tubs/{tub}/logbook/{entry}")
def entry_page(request: Request, desk: Here, tub: str, entry: str) -> HTMLResponse:
    """One entry: as it stands, as it was entered, and the way to correct or withdraw it."""
    return _entry(request, desk, tub, desk.keeping.line(tub, entry))


@router.post("/tubs/{tub}/logbook/{entry}/correct", response_model=None)
def correct(request: Request, desk: Here, tub: str, entry: str, sent: SentForm) -> HTMLResponse | RedirectResponse:
    """What the entry should have said."""
    line = desk.keeping.line(tub, entry)
    try:
        body = {**_typed(sent, [key for key in line.body if key != "at"]), **moment_of(desk, sent)}
        desk.keeping.correct(tub, entry, body, desk.source(request), sent.text("key"))
    except InputError as error:
        return _entry(request, desk, tub, line, sent, error)
    return RedirectResponse(f"/tubs/{tub}/logbook/{entry}", 303)


@router.post("/tubs/{tub}/logbook/{entry}/withdraw")
def withdraw(request: Request, desk: Here, tub: str, entry: str, sent: SentForm) -> RedirectResponse:
    """Strikes the entry out."""
    desk.keeping.withdraw(tub, entry, sent.text("why")[:500], desk.source(request), sent.text("key"))
    return RedirectResponse(f"/tubs/{tub}/logbook", 303)


def _taken(desk: Desk, sent: Sent) -> dict[str, str]:
    """When a sample was taken, in the keeper's zone where none is written."""
    found = moment_of(desk, sent, "taken")
    return {"taken": found["at"]} if found else {}


def _typed(sent: Sent, keys: Any) -> dict[str, Any]:
    """Fields as values: numbers, lists and true or false as JSON has them; anything else is a text."""
    found = {key: sent.text(key) for key in keys}
    return {key: _read(key, text) for key, text in found.items() if text}


def _read(key: str, text: str) -> Any:
    if key == _SHARE:
        return share_in(key, text)
    return text if key in _TEXTS else _value(text)


def _value(text: str) -> Any:
    ends = between(text)
    if ends:
        return ends
    try:
        return json.loads(text)
    except (ValueError, RecursionError):
        return text


def _text(value: Any, key: str = "") -> str:
    if key == _SHARE and isinstance(value, int | float):
        return f"{100.0 * value:g} %"
    if isinstance(value, list) and len(value) == 2 and all(not isinstance(v, list) for v in value) and _numeric(value):
        return f"{value[0]} to {value[1]}"
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)


def _numeric(values: list[Any]) -> bool:
    return all(isinstance(v, int | float) or str(v).replace(".", "", 1).isdigit() for v in values)


def _entry(
    request: Request, desk: Desk, tub: str, line: Line, sent: Sent | None = None, error: InputError | None = None
) -> HTMLResponse:
    file, stored = desk.file(tub), line.stored
    by = desk.called(stored.entry.source.actor, stored.entry.source.device)

    def values() -> dict[str, Any]:
        (shown,) = shown_lines(desk, [line], file.units)
        body = {key: value for key, value in line.body.items() if key != "at"}
        return {
            "tub": tub,
            "file": file,
            "line": shown,
            "fields": {key: sent.text(key) if sent else _text(value, key) for key, value in body.items()},
            "methods": BESIDE_A_TUB,
            "first": {key: _text(value, key) for key, value in stored.entry.body.items() if key != "at"},
            "recorded": desk.local(stored.recorded),
            "by": by,
            "key": desk.keeping.names.fresh(),
        }

    return kept_page(request, "entry.html", (file,), values, by, error.problems if error else ())


def _add_form(
    request: Request, desk: Desk, tub: str, kind: Kind, sent: Sent | None = None, error: InputError | None = None
) -> HTMLResponse:
    if kind not in _NEW:
        raise InputError.one("kind", str(kind), f"one of {', '.join(_NEW)}")
    file = desk.file(tub)

    def values() -> dict[str, Any]:
        return {
            "tub": tub,
            "file": file,
            "kind": str(kind),
            "fields": {key: sent.text(key) if sent else "" for key in _NEW[kind]},
            "products": _offered(file.shelf, kind),
            "tasks": _tasks(regular_care()),
            "rare": _tasks(task for task in kinds("care") if task not in (*regular_care(), "all")),
            "reasons": [str(why) for why in ClosedWhy],
            "key": (sent.text("key") if sent else "") or desk.keeping.names.fresh(),
            "sent_at": sent.text("at") if sent else "",
        }

    return kept_page(request, "add.html", (file,), values, problems=error.problems if error else ())


def _tasks(keys: Iterable[str]) -> list[tuple[str, str]]:
    return [(key, text_of("care", key)) for key in keys]


def _offered(shelf: Shelf, kind: Kind) -> list[str]:
    """The products that may be meant; into a feeder go tablets, where there are any."""
    tablets = [product.name for product in shelf.products if product.tablet_grams]
    return tablets if kind is Kind.FEEDER and tablets else [product.name for product in shelf.products]
