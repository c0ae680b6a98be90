"""The record of a tub for scripts: the sheets of some days as data, and the signature of a day."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Request
from pydantic import BaseModel, Field

from tubwater.services.recorded import sign_day
from tubwater.tub.data import as_data
from tubwater.web.api import REFUSALS
from tubwater.web.desk import Here
from tubwater.web.record import day_of, record_found

__all__ = ["SignatureBody", "record", "router", "sign"]

router = APIRouter(prefix="/api/tubs/{tub}", tags=["record"], responses=REFUSALS)
Name = Annotated[str, Path(min_length=1, max_length=100)]
Day = Annotated[str, Query(max_length=20)]


class SignatureBody(BaseModel):
    """Who signs the sheet of which day; ``bathers`` where they were counted."""

    day: str = Field(max_length=20)
    name: str = Field(max_length=200)
    bathers: float | None = None
    remark: str = Field(default="", max_length=1000)


@router.get("/record")
def record(desk: Here, tub: Name, first: Day = "", last: Day = "") -> dict[str, Any]:
    """What the guideline asks of each day and what is missing, closures, samples, persons and source water."""
    found: dict[str, Any] = as_data(record_found(desk, tub, day_of("first", first), day_of("last", last)))
    return found


@router.put("/signatures/{id}")
def sign(request: Request, desk: Here, tub: Name, id: Name, sent: SignatureBody) -> dict[str, Any]:
    """Signs the sheet of a day, for good; the same name twice counts once."""
    body = {key: value for key, value in sent.model_dump().items() if value not in (None, "")}
    kept: dict[str, Any] = as_data(sign_day(desk.keeping, tub, body, desk.source(request), id, desk.zone))
    return kept
