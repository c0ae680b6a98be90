"""The first run: five questions, and "don't know" everywhere else."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse

from tubwater.errors import InputError, Problem
from tubwater.reports.text import text_of
from tubwater.services.kits import BESIDE_A_TUB, usual_strength
from tubwater.services.lookup import all_substances
from tubwater.tub import Sanitizer
from tubwater.web.desk import Desk, Here
from tubwater.web.forms import Sent, SentForm
from tubwater.web.show import kept_page, say

__all__ = ["POTS", "begin", "first", "router"]

router = APIRouter(include_in_schema=False)
# What is found beside tubs, the most common first; the whole list stands on the shelf page.
POTS = (
    "monopersulfate",
    "bcdmh",
    "sodium-bromide",
    "sodium-bisulfate",
    "sodium-carbonate",
    "sodium-bicarbonate",
    "calcium-chloride-dihydrate",
    "dichlor-dihydrate",
    "sodium-hypochlorite",
    "calcium-hypochlorite",
)
_LITRES = "litres, such as 1300, or an amount with its unit, such as 345 US gal"
_KITS = BESIDE_A_TUB[:5]


@router.get("/first")
def first(request: Request, desk: Here) -> HTMLResponse:
    """Bromine or chlorine, litres, which test, which pots."""
    return _form(request, desk)


@router.post("/first", response_model=None)
def begin(request: Request, desk: Here, sent: SentForm) -> HTMLResponse | RedirectResponse:
    """Describes a new tub and leads to its first test."""
    tub = sent.text("key") or desk.keeping.names.fresh()
    try:
        desk.keeping.add_tub(_described(sent), desk.source(request), tub)
    except InputError as error:
        return _form(request, desk, sent, _told(error))
    desk.remember(tub, sent.word("method", _KITS, _KITS[0]))
    return RedirectResponse(f"/tubs/{tub}", 303)


def _described(sent: Sent) -> dict[str, Any]:
    litres = sent.text("litres")
    tub = {"name": sent.text("name", "the tub")}
    if litres:
        tub["volume"] = litres if litres[-1:].isalpha() else f"{litres} L"
    if sent.text("sanitizer"):
        tub["sanitizer"] = sent.text("sanitizer")
    return {"tub": tub, "product": [_pot(key) for key in sent.all("pot")]}


def _told(error: InputError) -> InputError:
    """What is refused, as the form asks for it: litres need no unit here."""
    return InputError(replace(one, expected=_LITRES) if _unread(one) else one for one in error.problems)


def _unread(problem: Problem) -> bool:
    """Whether no amount of water could be read, so that there is none to say the limits of."""
    return problem.field == "tub.volume" and not problem.expected[:1].isdigit()


def _pot(key: str) -> dict[str, Any]:
    """A pot before its label was read: at the usual strength, weighed on scales."""
    pot: dict[str, Any] = {"substance": key, "scales": True}
    pot |= {"name": say(f"pot.{key}")} if key in POTS else {}
    strength = usual_strength(key)
    return pot | ({"strength": strength} if strength else {})


def _form(request: Request, desk: Desk, sent: Sent | None = None, error: InputError | None = None) -> HTMLResponse:
    def values() -> dict[str, Any]:
        known = {s.key: text_of("substance", s.key) for s in all_substances()}
        return {
            "sanitizers": [str(s) for s in Sanitizer],
            "kits": _KITS,
            "pots": [(key, known[key]) for key in POTS if key in known],
            "sent": {name: sent.text(name) if sent else "" for name in ("name", "litres", "sanitizer", "method")},
            "chosen": sent.all("pot") if sent else [],
            "key": (sent.text("key") if sent else "") or desk.keeping.names.fresh(),
        }

    return kept_page(request, "first.html", (), values, problems=error.problems if error else ())
