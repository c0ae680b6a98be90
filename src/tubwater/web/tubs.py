"""All tubs: what is due today."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, PlainTextResponse

from tubwater.web.access import caller_of
from tubwater.web.desk import Here
from tubwater.web.show import kept_page
from tubwater.web.today import due_today

__all__ = ["all_tubs", "healthz", "router"]

router = APIRouter(include_in_schema=False)


@router.get("/healthz")
def healthz(desk: Here) -> PlainTextResponse:
    """Whether the application and its store answer."""
    desk.keeping.store.tubs()
    return PlainTextResponse("ok\n")


@router.get("/")
def all_tubs(request: Request, desk: Here) -> HTMLResponse:
    """Every tub with its verdict; the most urgent first."""
    caller = caller_of(request)
    rows, owner = due_today(desk, caller), caller is not None and caller.owner
    shown = tuple(one for row in rows for one in (row.tub, row.verdict))
    also = (desk.now().date(), owner, tuple((row.id, row.last_test, row.visit) for row in rows))
    return kept_page(request, "tubs.html", shown, lambda: {"rows": rows, "owner": owner}, also)
