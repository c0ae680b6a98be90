"""The record of a tub: the sheet of a day with what is missing, its signature, and a span of days for an inspector."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta
from functools import partial
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from tubwater.errors import InputError
from tubwater.reports.printed import Paper, paper_of, record_pdf
from tubwater.reports.record import record_xlsx
from tubwater.reports.record_words import named_with_role, record_words
from tubwater.reports.units import day as day_words
from tubwater.services.ports import Kind
from tubwater.services.record import Record
from tubwater.services.recorded import record_of_tub, sign_day
from tubwater.web.access import caller_of
from tubwater.web.desk import Desk, Here
from tubwater.web.forms import Sent, SentForm
from tubwater.web.show import kept_page

__all__ = ["as_pdf", "as_table", "day_of", "record_found", "record_page", "router", "sign", "signed_body"]

router = APIRouter(include_in_schema=False)
_ALSO = (Kind.SAMPLED, Kind.APPOINTED, Kind.SOURCE_WATER, Kind.OPENING_HOURS, Kind.CLOSED, Kind.REOPENED)
_XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@router.get("/tubs/{tub}/record")
def record_page(request: Request, desk: Here, tub: str, day: str = "") -> HTMLResponse:
    """The sheet of a day, today where none is named."""
    return _page(request, desk, tub, day_of("day", day) or desk.now().date())


@router.post("/tubs/{tub}/record/sign", response_model=None)
def sign(request: Request, desk: Here, tub: str, sent: SentForm) -> HTMLResponse | RedirectResponse:
    """Signs the sheet of a day, for good."""
    try:
        body = signed_body(sent)
        sign_day(desk.keeping, tub, body, desk.source(request), sent.text("key"), desk.zone)
    except InputError as error:
        return _page(request, desk, tub, _known_day(desk, sent), sent, error)
    return RedirectResponse(f"/tubs/{tub}/record?day={body['day']}", 303)


@router.get("/tubs/{tub}/record.pdf")
def as_pdf(desk: Here, tub: str, first: str = "", last: str = "", paper: Paper | None = None) -> Response:
    """The record of a span of days, to print."""
    chosen = paper_of(paper, desk.file(tub).units)
    return Response(record_pdf(_words(desk, tub, first, last), chosen), media_type="application/pdf")


@router.get("/tubs/{tub}/record.xlsx")
def as_table(desk: Here, tub: str, first: str = "", last: str = "") -> Response:
    """The record of a span of days, as a table."""
    name = {"content-disposition": 'attachment; filename="record.xlsx"'}
    return Response(record_xlsx(_words(desk, tub, first, last)), media_type=_XLSX, headers=name)


def record_found(desk: Desk, tub: str, first: date | None, last: date | None) -> Record:
    """The record, with the names of those who entered it.

    Raises:
        InputError: days that cannot be meant. UnknownEntry: no such tub.
    """
    return record_of_tub(
        desk.keeping, desk.kits, tub, first, last, desk.zone, partial(named_with_role, desk.accounts, tub)
    )


def day_of(field: str, text: str) -> date | None:
    """A day in a field; None where it is empty.

    Raises:
        InputError: there is something else in it.
    """
    try:
        return date.fromisoformat(text.strip()) if text.strip() else None
    except ValueError:
        raise InputError.one(field, text, "a day, such as 2026-11-20") from None


def signed_body(sent: Sent) -> dict[str, Any]:
    """A signature of a form as a table of a keeper's file.

    Raises:
        InputError: a number that is none.
    """
    body: dict[str, Any] = {name: sent.text(name) for name in ("day", "name", "remark") if sent.text(name)}
    bathers = sent.number("bathers")
    return body if bathers is None else {**body, "bathers": bathers}


def _words(desk: Desk, tub: str, first: str, last: str) -> Mapping[str, Any]:
    found = record_found(desk, tub, day_of("first", first), day_of("last", last))
    return record_words(found, desk.local, desk.keeping.file(tub).units)


def _known_day(desk: Desk, sent: Sent) -> date:
    """The day that was to be signed; today where it is none."""
    today = desk.now().date()
    try:
        return min(day_of("day", sent.text("day")) or today, today)
    except InputError:
        return today


def _page(
    request: Request, desk: Desk, tub: str, day: date, sent: Sent | None = None, error: InputError | None = None
) -> HTMLResponse:
    file, today = desk.file(tub), desk.now().date()
    found = desk.answers.besides(tub, ("record", day), lambda: record_found(desk, tub, day, day))
    caller = caller_of(request)
    called = desk.called(caller.account) if caller else ""

    def values() -> dict[str, Any]:
        words = record_words(found, desk.local, file.units)
        return {
            "tub": tub,
            "file": file,
            "words": words,
            "sheet": words["days"][0],
            "day": day,
            "day_words": day_words(day),
            "before": day - timedelta(days=1),
            "after": day + timedelta(days=1) if day < today else None,
            "today": today,
            "since": max(today - timedelta(days=30), date(2000, 1, 1)),
            "also": [str(kind) for kind in _ALSO],
            "given": {name: sent.text(name) if sent else "" for name in ("name", "bathers", "remark")},
            "called": called,
            "key": (sent.text("key") if sent else "") or desk.keeping.names.fresh(),
        }

    problems = error.problems if error else ()
    return kept_page(request, "record.html", (file, found), values, (today, called), problems)
