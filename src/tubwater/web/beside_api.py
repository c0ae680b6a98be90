"""The JSON interface of what is done beside a tub: its kit, what a test changed, soaks, happenings, its sheets."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path, Request
from pydantic import BaseModel, Field

from tubwater.errors import InputError
from tubwater.services.happened import all_happened, find_happened, happened_body, settled_body
from tubwater.services.kits import BESIDE_A_TUB, asked_of, wait_seconds
from tubwater.services.looks import SEEN_AT_EACH_TEST, standing_signs
from tubwater.services.ports import Kind
from tubwater.services.safety import safety_sheet
from tubwater.tub import Sign
from tubwater.tub.data import as_data
from tubwater.web.api import REFUSALS
from tubwater.web.desk import Desk, Here
from tubwater.web.next import next_thing
from tubwater.web.readings import USUAL, changed_by
from tubwater.web.soaks import answer_of

__all__ = [
    "HappenedBody",
    "KitBody",
    "SettledBody",
    "changed",
    "choose_kit",
    "handout",
    "happened",
    "kit",
    "next_step",
    "note",
    "router",
    "safety",
    "settle",
    "soak",
]

router = APIRouter(prefix="/api/tubs/{tub}", tags=["beside"], responses=REFUSALS)
Name = Annotated[str, Path(min_length=1, max_length=100)]


class KitBody(BaseModel):
    """What the tub is tested with from now on."""

    method: str = Field(max_length=60)


class HappenedBody(BaseModel):
    """What happened, by its key; ``hours`` without enough sanitizer where that is asked, null for "don't know"."""

    what: str = Field(max_length=60)
    hours: float | None = Field(default=None, ge=0.0, le=10_000.0)


class SettledBody(BaseModel):
    """Which sign is settled."""

    sign: str = Field(max_length=60)


@router.get("/next")
def next_step(desk: Here, tub: Name) -> dict[str, Any]:
    """The one next thing to do: "test", "plan", "due" or "nothing", and the step that it begins with.

    A test may have to wait. Where the plan has no work, ``due`` is what is due first until the next visit.
    """
    found = next_thing(desk, tub)
    told = {"kind": found.kind, "steps": found.steps, "minutes": found.minutes}
    rest = {"step": found.step, "not_before": found.waits_until, "dose": found.dose, "due": found.due}
    return {**told, **as_data(rest)}


@router.get("/kit")
def kit(desk: Here, tub: Name) -> dict[str, Any]:
    """What the tub is tested with, what that reads in it, and what else a test can be made with."""
    return _kit(desk, tub)


@router.put("/kit")
def choose_kit(desk: Here, tub: Name, sent: KitBody) -> dict[str, Any]:
    """Another kit from now on; it is offered first."""
    desk.keeping.file(tub)
    if sent.method not in BESIDE_A_TUB:
        raise InputError.one("method", sent.method, f"one of {', '.join(BESIDE_A_TUB)}")
    desk.remember(tub, sent.method)
    return _kit(desk, tub)


@router.get("/tested/{entry}")
def changed(desk: Here, tub: Name, entry: Name) -> dict[str, Any]:
    """What a test changed in the belief, what of it is odd, and which readings contradict each other."""
    found: dict[str, Any] = as_data(changed_by(desk, tub, entry))
    return found


@router.get("/soaks/{entry}")
def soak(desk: Here, tub: Name, entry: Name) -> dict[str, Any]:
    """What goes in after a soak that was entered."""
    people, minutes, answer = answer_of(desk, tub, entry)
    return {"people": people, "minutes": minutes, "answer": as_data(answer)}


@router.get("/happened")
def happened(desk: Here, tub: Name) -> dict[str, Any]:
    """What can have happened, with the first steps of each, and which signs stand."""
    standing = standing_signs(desk.keeping.file(tub).events) - SEEN_AT_EACH_TEST
    return {"kinds": as_data(list(all_happened().values())), "standing": sorted(str(sign) for sign in standing)}


@router.put("/happened/{id}")
def note(request: Request, desk: Here, tub: Name, id: Name, sent: HappenedBody) -> dict[str, Any]:
    """Keeps people out at once; the same name twice counts once."""
    body = happened_body(desk.keeping.file(tub).events, find_happened(sent.what), sent.hours)
    return _kept(request, desk, tub, id, body)


@router.put("/settled/{id}")
def settle(request: Request, desk: Here, tub: Name, id: Name, sent: SettledBody) -> dict[str, Any]:
    """Says that a sign is settled; the drain has to be looked at and the water tested after it."""
    known = {str(sign): sign for sign in Sign}
    if sent.sign not in known:
        raise InputError.one("sign", sent.sign, f"one of {', '.join(known)}")
    return _kept(request, desk, tub, id, settled_body(desk.keeping.file(tub).events, known[sent.sign]))


@router.get("/handout")
def handout(desk: Here, tub: Name) -> dict[str, Any]:
    """The sheet for the owner as data; the same to print is at ``pdf``, the label for the cabinet at ``label``."""
    return {**as_data(desk.answers.handout(tub)), "pdf": f"/tubs/{tub}/handout.pdf", "label": f"/tubs/{tub}/label.pdf"}


@router.get("/safety")
def safety(desk: Here, tub: Name) -> dict[str, Any]:
    """The safety sheet with what stands on the shelf of this tub; the same to print is at ``pdf``."""
    return {**as_data(safety_sheet(desk.keeping.file(tub).shelf)), "pdf": f"/facts/safety.pdf?tub={tub}"}


def _kept(request: Request, desk: Desk, tub: str, id: str, body: dict[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = as_data(desk.keeping.record(tub, Kind.NOTICED, body, desk.source(request), id))
    return found


def _kit(desk: Desk, tub: str) -> dict[str, Any]:
    method, described = desk.method(tub) or USUAL, desk.keeping.file(tub).tub
    asks = as_data(list(asked_of(method, described)))
    return {"method": method, "asks": asks, "waits_seconds": wait_seconds(method), "methods": list(BESIDE_A_TUB)}
