"""The JSON interface for keepers: a tub and its shelf as they are described, what is due, what is left, and the card.

A description is the part of a keeper's file that it stands for; see the annotated example there.
"""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path, Request
from pydantic import BaseModel, Field

from tubwater.errors import InputError, UnknownEntry
from tubwater.services.card import card_of
from tubwater.services.ports import Kind
from tubwater.services.upkeep import due_of_tub, shelf_of_tub
from tubwater.tub.data import as_data
from tubwater.web.api import REFUSALS
from tubwater.web.desk import Desk, Here

__all__ = [
    "DescribeBody",
    "NewTubBody",
    "add",
    "card",
    "describe",
    "describe_shelf",
    "described",
    "due",
    "router",
    "shelf",
    "stock",
]

router = APIRouter(prefix="/api/tubs/{tub}", tags=["keeping"], responses=REFUSALS)
Name = Annotated[str, Path(min_length=1, max_length=80)]
_PARTS = {
    Kind.TUB: ("tub", "units", "contact"),
    Kind.SHELF: ("product", "offer", "reagents"),
}  # the first has to be there


class NewTubBody(BaseModel):
    """A new tub: its tables "tub" and, where wanted, "units", "contact", "product", "offer" and "reagents"."""

    body: dict[str, Any]


class DescribeBody(BaseModel):
    """A description as a whole, the entry that it was changed from, and a name for the change."""

    id: str = Field(min_length=1, max_length=100)
    after: str = Field(max_length=100)
    body: dict[str, Any]


@router.put("")
def add(request: Request, desk: Here, tub: Name, sent: NewTubBody) -> dict[str, str]:
    """Describes a new tub under a name made by whoever describes it; the same twice counts once."""
    _demand(sent.body, (*_PARTS[Kind.TUB], *_PARTS[Kind.SHELF]))
    return {"tub": desk.keeping.add_tub(sent.body, desk.source(request), tub)}


@router.get("/tub")
def described(desk: Here, tub: Name) -> dict[str, Any]:
    """How the tub is described, and by which entry."""
    return _newest(desk, tub, Kind.TUB)


@router.put("/tub")
def describe(request: Request, desk: Here, tub: Name, sent: DescribeBody) -> dict[str, Any]:
    """Describes the tub anew."""
    return _describe(request, desk, tub, Kind.TUB, sent)


@router.get("/shelf")
def shelf(desk: Here, tub: Name) -> dict[str, Any]:
    """How the shelf is described, and by which entry."""
    return _newest(desk, tub, Kind.SHELF)


@router.put("/shelf")
def describe_shelf(request: Request, desk: Here, tub: Name, sent: DescribeBody) -> dict[str, Any]:
    """Describes the shelf anew."""
    return _describe(request, desk, tub, Kind.SHELF, sent)


@router.get("/due")
def due(desk: Here, tub: Name, days: float = 14.0) -> list[dict[str, Any]]:
    """What is overdue, and what becomes due within so many days."""
    found: list[dict[str, Any]] = as_data(list(due_of_tub(desk.answers, desk.kits, tub, desk.keeping.file(tub), days)))
    return found


@router.get("/stock")
def stock(desk: Here, tub: Name, weeks: float = 4.0) -> dict[str, Any]:
    """What is left and until when, what to buy for so many weeks, and what it costs."""
    return _data(shelf_of_tub(desk.answers, desk.kits, tub, desk.keeping.file(tub), weeks))


@router.get("/card")
def card(desk: Here, tub: Name) -> dict[str, Any]:
    """What a pair of readings means, for a phone or on paper, and until when."""
    return _data(card_of(desk.keeping, tub))


def _newest(desk: Desk, tub: str, kind: Kind) -> dict[str, Any]:
    found = desk.keeping.newest(tub, kind)
    if found is None:
        raise UnknownEntry("entry", str(kind))
    return {"entry": found.entry.id, "body": _data(found.entry.body)}


def _describe(request: Request, desk: Desk, tub: str, kind: Kind, sent: DescribeBody) -> dict[str, Any]:
    _demand(sent.body, _PARTS[kind])
    return _data(desk.keeping.describe(tub, kind, sent.body, sent.after, desk.source(request), sent.id))


def _demand(body: dict[str, Any], parts: tuple[str, ...]) -> None:
    """Nothing but the parts, and the first of them.

    Raises:
        InputError: something else is there, or it is not.
    """
    given = ", ".join(sorted(body)) or "nothing"
    if parts[0] not in body or not set(body) <= set(parts):
        raise InputError.one("body", given[:80], f"{parts[0]} and at most {', '.join(parts[1:])}")


def _data(value: object) -> dict[str, Any]:
    found: dict[str, Any] = as_data(value)
    return found
