"""The JSON interface of one tub: what its pages answer, and what happened to it, under names that the caller makes.

The body of an entry is a table of a keeper's file; see the annotated example there.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Request
from pydantic import BaseModel, Field
from starlette.datastructures import FormData

from tubwater.errors import InputError
from tubwater.services.about import about_of, purposes_for, said_of
from tubwater.services.keeping import Recorded
from tubwater.services.ports import HAPPENINGS, Kind
from tubwater.services.wishes import wishes_of
from tubwater.tub.data import as_data
from tubwater.web.ahead import days_of, scenario_of
from tubwater.web.api import REFUSALS
from tubwater.web.desk import Here
from tubwater.web.forms import Sent
from tubwater.web.since import litres_of

__all__ = [
    "CorrectBody",
    "EntryBody",
    "WithdrawBody",
    "correct",
    "enter",
    "history",
    "learned",
    "ledger",
    "outlook",
    "plan",
    "purposes",
    "router",
    "troubles",
    "verdict",
    "water",
    "withdraw",
]

router = APIRouter(prefix="/api/tubs/{tub}", tags=["tub"], responses=REFUSALS)
Name = Annotated[str, Path(min_length=1, max_length=100)]
Text = Annotated[str, Query(max_length=100)]
Texts = Annotated[list[str], Query(max_length=30)]
Said = Annotated[list[str] | None, Query(max_length=30)]


class EntryBody(BaseModel):
    """Something that happened: its kind, such as "test", and its table."""

    kind: str = Field(max_length=20)
    body: dict[str, Any]


class CorrectBody(BaseModel):
    """What an earlier entry should have said, as a whole."""

    entry: str = Field(max_length=100)
    body: dict[str, Any]


class WithdrawBody(BaseModel):
    """Which entry is struck out, and why."""

    entry: str = Field(max_length=100)
    why: str = Field(default="", max_length=500)


@router.get("/verdict")
def verdict(desk: Here, tub: Name) -> dict[str, Any]:
    """May people get in now, how many, and until when."""
    return _data(desk.answers.verdict(tub))


@router.get("/plan")
def plan(
    desk: Here,
    tub: Name,
    minutes: float | None = None,
    days: float = 7.0,
    later_by: Text = "",
    about: Text = "",
    say: Said = None,
) -> dict[str, Any]:
    """What to do, for the minutes that the keeper has; ``about`` something else, with ``say`` as "name=value"."""
    found = about_of(about, said_of(say or ())) if about else None
    return _data(desk.answers.plan(tub, replace(wishes_of(minutes, days, later_by), about=found)))


@router.get("/purposes")
def purposes(desk: Here, tub: Name) -> list[dict[str, Any]]:
    """What a plan of this tub can be asked about, with the numbers that it asks for."""
    known = purposes_for(desk.keeping.file(tub).tub)
    return [{"key": one.key, "asks": as_data(one.asks)} for one in known]


@router.get("/water")
def water(desk: Here, tub: Name) -> dict[str, Any]:
    """What the water is believed to be: middle and 5th and 95th percentile."""
    return _data(desk.answers.water(tub))


@router.get("/outlook")
def outlook(
    desk: Here,
    tub: Name,
    days: Text = "",
    party_people: Text = "",
    party_at: Text = "",
    party_minutes: Text = "",
    away_from: Text = "",
    away_until: Text = "",
    opening: Text = "",
    tablets: Text = "",
    test: Text = "",
) -> dict[str, Any]:
    """Where the water is going, hour by hour, as it is or with something changed; the opening in %."""
    asked = {"days": days, "party_people": party_people, "party_at": party_at, "party_minutes": party_minutes}
    asked |= {"away_from": away_from, "away_until": away_until, "opening": opening, "tablets": tablets, "test": test}
    sent = Sent(FormData(asked))
    return _data(desk.answers.outlook(tub, days_of(sent), scenario_of(desk, sent)))


@router.get("/ledger")
def ledger(desk: Here, tub: Name, change: Text = "") -> dict[str, Any]:
    """What has built up since the fill, by when to drain, and what a change of so much would do."""
    found, changed = desk.answers.ledger(tub, litres_of(change.strip(), desk.keeping.file(tub).tub.litres))
    return {"ledger": as_data(found), "change": as_data(changed)}


@router.get("/learned")
def learned(desk: Here, tub: Name) -> dict[str, Any]:
    """What was learned of the tub, and what seems to have changed."""
    found, changes = desk.answers.learned(tub)
    return {"learned": as_data(found), "changes": as_data(list(changes))}


@router.get("/troubles")
def troubles(desk: Here, tub: Name, sign: Texts, yes: Said = None, no: Said = None) -> dict[str, Any]:
    """What may be behind the signs; ``yes`` and ``no`` name checks that were made."""
    answers = dict.fromkeys(no or (), False) | dict.fromkeys(yes or (), True)
    return _data(desk.answers.troubles(tub, sign, answers))


@router.get("/history")
def history(desk: Here, tub: Name) -> list[dict[str, Any]]:
    """What happened, in order, as it stands now."""
    found: list[dict[str, Any]] = as_data(list(desk.keeping.history(tub)))
    return found


@router.put("/entries/{id}")
def enter(request: Request, desk: Here, tub: Name, id: Name, sent: EntryBody) -> dict[str, Any]:
    """Keeps something that happened; the same name twice counts once."""
    if sent.kind not in HAPPENINGS:
        raise InputError.one("kind", sent.kind, f"one of {', '.join(HAPPENINGS)}")
    return _kept(desk.keeping.record(tub, Kind(sent.kind), sent.body, desk.source(request), id))


@router.put("/corrections/{id}")
def correct(request: Request, desk: Here, tub: Name, id: Name, sent: CorrectBody) -> dict[str, Any]:
    """Keeps what an entry should have said."""
    return _kept(desk.keeping.correct(tub, sent.entry, sent.body, desk.source(request), id))


@router.put("/withdrawals/{id}")
def withdraw(request: Request, desk: Here, tub: Name, id: Name, sent: WithdrawBody) -> dict[str, Any]:
    """Strikes an entry out; it stays in the logbook, marked."""
    return _kept(desk.keeping.withdraw(tub, sent.entry, sent.why, desk.source(request), id))


def _kept(found: Recorded) -> dict[str, Any]:
    return _data(found)


def _data(value: object) -> dict[str, Any]:
    found: dict[str, Any] = as_data(value)
    return found
