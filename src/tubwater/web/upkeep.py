"""What is due and the calendar of it, and the shelf with its money."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from tubwater.errors import InputError, NotAllowed, UnknownEntry
from tubwater.reports.calendar import DAYS, calendar_file
from tubwater.reports.due import due_note, due_reason, due_words
from tubwater.reports.language import Language, speaking
from tubwater.reports.language import language as spoken
from tubwater.reports.stock import shelf_words
from tubwater.reports.text import method_or
from tubwater.services.accounts import Opened
from tubwater.services.due import Due, DueKind
from tubwater.services.kits import BESIDE_A_TUB
from tubwater.services.people import Deed, Token
from tubwater.services.ports import Kind
from tubwater.services.upkeep import due_of_tub, shelf_of_tub
from tubwater.web.access import caller_of
from tubwater.web.desk import Desk, Here
from tubwater.web.forms import Sent, SentForm
from tubwater.web.next import dues_of
from tubwater.web.show import kept_page, page

__all__ = ["calendar", "done", "due", "offer", "reagents", "router", "stock", "withdraw"]

router = APIRouter(include_in_schema=False)
_PACK = ("method", "name", "opened", "expires")


@router.get("/tubs/{tub}/due")
def due(request: Request, desk: Here, tub: str) -> HTMLResponse:
    """What is overdue, what comes, and the calendars that read it."""
    return _page(request, desk, tub)


@router.post("/tubs/{tub}/due/done")
def done(request: Request, desk: Here, tub: str, sent: SentForm) -> RedirectResponse:
    """Notes that a task of care was done now."""
    body = {"task": sent.text("task")}
    desk.keeping.record(tub, Kind.CARED, body, desk.source(request), sent.text("key"))
    return RedirectResponse(f"/tubs/{quote(tub)}/due", 303)


@router.post("/tubs/{tub}/due/calendar")
def offer(request: Request, desk: Here, tub: str) -> HTMLResponse:
    """A secret address for a calendar, shown once."""
    accounts, caller = desk.accounts, caller_of(request)
    if accounts is None or caller is None:
        raise NotAllowed("calendar")
    desk.keeping.file(tub)
    return _page(request, desk, tub, accounts.make_calendar(tub, caller))


@router.post("/tubs/{tub}/due/calendar/{token}/withdraw")
def withdraw(request: Request, desk: Here, tub: str, token: str) -> RedirectResponse:
    """From now on that address shows nothing."""
    accounts, caller = desk.accounts, caller_of(request)
    if accounts is None or caller is None or token not in {one.id for one in accounts.calendars(tub, caller)}:
        raise UnknownEntry("calendar", token)
    accounts.withdraw_token(token, caller)
    return RedirectResponse(f"/tubs/{quote(tub)}/due", 303)


@router.get("/tubs/{tub}/calendar.ics")
def calendar(request: Request, desk: Here, tub: str, key: str = "", language: Language | None = None) -> Response:
    """What is due as iCalendar, for whoever knows the secret in the address or may see the tub anyhow.

    A calendar prefers no language of its own: the address says in which it was shared.
    """
    accounts, caller = desk.accounts, caller_of(request)
    sees = accounts is None or (caller is not None and caller.may(Deed.READ, tub))
    if not sees and not (key and accounts and accounts.reads_calendar(key, tub)):
        raise UnknownEntry("tub", tub)  # never told which of the two is wrong
    file = desk.keeping.file(tub)
    dues = due_of_tub(desk.answers, desk.kits, tub, file, DAYS)
    with speaking(language or spoken()):
        content = calendar_file(tub, file.tub.name, dues, desk.now())
    return Response(content, media_type="text/calendar; charset=utf-8")


@router.get("/tubs/{tub}/stock")
def stock(request: Request, desk: Here, tub: str, weeks: float = 4.0) -> HTMLResponse:
    """What is left and until when, what to buy, what it costs, what must stand apart."""
    return _stock(request, desk, tub, weeks)


@router.post("/tubs/{tub}/stock/reagents", response_model=None)
def reagents(request: Request, desk: Here, tub: str, sent: SentForm) -> HTMLResponse | RedirectResponse:
    """Keeps the strips and reagents with a pack added, or without the one that is named."""
    packs, gone = _packs(desk, tub), sent.text("remove")
    if gone.isdecimal() and len(gone) < 6:
        packs = [pack for number, pack in enumerate(packs) if number != int(gone)]
    else:
        packs.append({key: sent.text(key) for key in _PACK if sent.text(key)})
    newest = desk.keeping.newest(tub, Kind.SHELF)
    body = {"product": [], **(newest.entry.body if newest else {}), "reagents": packs}
    try:
        desk.keeping.describe(tub, Kind.SHELF, body, sent.text("after"), desk.source(request), sent.text("key"))
    except InputError as error:
        return _stock(request, desk, tub, sent=sent, error=error)
    return RedirectResponse(f"/tubs/{quote(tub)}/stock", 303)


def _packs(desk: Desk, tub: str) -> list[dict[str, Any]]:
    newest = desk.keeping.newest(tub, Kind.SHELF)
    return [dict(pack) for pack in newest.entry.body.get("reagents", ())] if newest else []


def _stock(
    request: Request,
    desk: Desk,
    tub: str,
    weeks: float = 4.0,
    sent: Sent | None = None,
    error: InputError | None = None,
) -> HTMLResponse:
    file, newest = desk.file(tub), desk.keeping.newest(tub, Kind.SHELF)
    asked = ("stock", weeks, desk.method(tub))
    report = desk.answers.besides(tub, asked, lambda: shelf_of_tub(desk.answers, desk.kits, tub, file, weeks))

    def values() -> dict[str, Any]:
        return {
            "tub": tub,
            "file": file,
            "units": file.units,
            "sections": shelf_words(report, file.units),
            "methods": [(key, method_or(key)) for key in BESIDE_A_TUB],
            "packs": [(number, method_or(pack.method), pack) for number, pack in enumerate(file.reagents)],
            "given": {key: sent.text(key) if sent else "" for key in _PACK},
            "after": newest.entry.id if newest else "",
            "key": desk.keeping.names.fresh(),
        }

    return kept_page(request, "stock.html", (file, report), values, problems=error.problems if error else ())


def _page(request: Request, desk: Here, tub: str, made: Opened | None = None) -> HTMLResponse:
    accounts, caller = desk.accounts, caller_of(request)
    file = desk.file(tub)
    readers: tuple[Token, ...] = tuple(accounts.calendars(tub, caller)) if accounts and caller else ()
    address = f"{str(request.base_url).rstrip('/')}/tubs/{quote(tub)}/calendar.ics"
    link = f"{address}?key={made.secret}&language={spoken()}" if made else ""
    dues = dues_of(desk, tub)
    may_share = accounts is not None and caller is not None

    def values() -> dict[str, Any]:
        rows = [_row(one) for one in dues]
        late, coming = [row for row in rows if row["now"]], [row for row in rows if not row["now"]]
        return {
            "tub": tub,
            "file": file,
            "blocks": [("due.overdue", late), ("due.coming", coming)],
            "may_share": may_share,
            "link": link,
            "readers": readers,
        }

    if made is None:
        return kept_page(request, "due.html", (file, dues), values, (may_share, readers))
    return page(request, "due.html", {**values(), "key": desk.keeping.names.fresh()})


def _row(found: Due) -> dict[str, Any]:
    return {
        "now": found.now,
        "late": round(found.overdue),
        "at": found.at,
        "whole": found.whole_day,
        "what": due_words(found),
        "why": due_reason(found),
        "note": due_note(found),
        "task": found.key if found.kind is DueKind.CARE else "",
    }
