"""The JSON interface: everything that the pages do, for scripts."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request

from tubwater.tub.data import as_data
from tubwater.web.access import caller_of
from tubwater.web.desk import Here
from tubwater.web.today import due_today

__all__ = ["REFUSALS", "all_tubs", "router"]

REFUSALS: dict[int | str, dict[str, Any]] = {
    400: {"description": "the body is not JSON"},
    404: {"description": "no such tub or entry"},
    409: {"description": "somebody else changed the same thing meanwhile"},
    422: {"description": "what was entered cannot be meant; every problem is listed"},
}
router = APIRouter(prefix="/api", tags=["tubs"])


@router.get("/tubs")
def all_tubs(request: Request, desk: Here) -> list[dict[str, Any]]:
    """Every tub with its verdict, the most urgent first."""
    found: list[dict[str, Any]] = as_data(due_today(desk, caller_of(request)))
    return found
