"""One tub: its verdict with the reason, the next thing to do, its range lines, and what happened lately."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from tubwater.services.visits import Visits
from tubwater.web.desk import Here
from tubwater.web.diary import shown_lines
from tubwater.web.lines import lines_of
from tubwater.web.next import next_thing
from tubwater.web.show import kept_page
from tubwater.web.under_way import under_way

__all__ = ["one_tub", "router"]

router = APIRouter(include_in_schema=False)
_LATELY = 6


@router.get("/tubs/{tub}")
def one_tub(request: Request, desk: Here, tub: str) -> HTMLResponse:
    """Everything about one tub that is wanted beside it."""
    file, verdict = desk.keeping.file(tub), desk.answers.verdict(tub)
    coming = next_thing(desk, tub)
    history = desk.keeping.history(tub)
    desk.showed(request, tub, "verdict", verdict)
    water, visit = desk.answers.water(tub), under_way(desk, tub)

    def values() -> dict[str, Any]:
        return {
            "tub": tub,
            "file": file,
            "units": file.units,
            "verdict": verdict,
            "next": coming,
            "running": Visits(desk.keeping).current(tub),
            "visit": visit,
            "lines": lines_of(file, water, coming.plan, file.units),
            "lately": shown_lines(desk, history, file.units)[:_LATELY],
            "count": len(history),
            "questions": file.questions,
        }

    return kept_page(
        request, "tub.html", (verdict, coming.plan, water, coming.dues), values, (visit, desk.now().date())
    )
