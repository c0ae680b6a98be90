"""What has built up since the fill, and what was learned of the tub."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from tubwater.errors import InputError, Problem
from tubwater.reports.ledger import date_words, drain_words, figure, since_lines
from tubwater.reports.text import text_of
from tubwater.reports.units import rough
from tubwater.services.learned import LearnedValue
from tubwater.tub import Event, FeederSet, VolumeBasis
from tubwater.units import Dimension, parse_amount
from tubwater.web.desk import Here
from tubwater.web.show import kept_page

__all__ = ["Learnt", "learned_page", "ledger_page", "litres_of", "router"]

router = APIRouter(include_in_schema=False)
_SOME = 0.2  # share of the prior's spread that has to be gone before anything is called learned (judgement)


@dataclass(frozen=True)
class Learnt:
    """One property: the middle and the span now, and the span before, as texts; ``some`` of it was learned or not."""

    key: str
    unit: str
    middle: str
    span: tuple[str, str]
    before: tuple[str, str]
    some: bool


@router.get("/tubs/{tub}/ledger")
def ledger_page(request: Request, desk: Here, tub: str, change: str = "") -> HTMLResponse:
    """The drain meter, what is in the water, and what a partial change would do."""
    file, problems, litres = desk.keeping.file(tub), tuple[Problem, ...](), None
    try:
        litres = litres_of(change.strip(), file.tub.litres)
    except InputError as error:
        problems = error.problems
    ledger, changed = desk.answers.ledger(tub, litres)

    def values() -> dict[str, Any]:
        return {
            "tub": tub,
            "file": file,
            "units": file.units,
            "ledger": ledger,
            "drain": drain_words(ledger),
            "drain_words": drain_words,
            "change": changed,
            "asked": change,
            "since": [
                *since_lines(replace(ledger, since=ledger.since and desk.local(ledger.since)), file.units),
                *_fed(file.events),
            ],
            "figure": figure,
            "date_words": date_words,
        }

    return kept_page(request, "ledger.html", (ledger, changed), values, problems=problems)


def _fed(events: Sequence[Event]) -> Iterator[str]:
    """The tablets that the feeder was set to last: they are no dose, and count as they dissolve."""
    last = max((event for event in events if isinstance(event, FeederSet)), key=lambda event: event.at, default=None)
    if last is not None and last.tablets:
        values = {"at": last.at.isoformat(), "product": last.product, "tablets": last.tablets}
        yield text_of("ledger", "fed", values)


@router.get("/tubs/{tub}/learned")
def learned_page(request: Request, desk: Here, tub: str) -> HTMLResponse:
    """How much the tub holds, how it loses and what it gives, as its logbook tells."""
    file = desk.keeping.file(tub)
    found, changes = desk.answers.learned(tub)

    def values() -> dict[str, Any]:
        return {
            "tub": tub,
            "file": file,
            "units": file.units,
            "litres": found.of("litres"),
            "stated": found.litres_stated,
            "plate": file.tub.volume_basis is VolumeBasis.PLATE,
            "some": found.of("litres").known >= _SOME,
            "rows": [_learnt(value) for value in found.values if value.key != "litres"],
            "feeder": found.feeder_now,
            "changes": changes,
        }

    return kept_page(request, "learned.html", (found, changes), values)


def litres_of(text: str, most: float) -> float | None:
    """The litres of a change; None where nothing is asked.

    Raises:
        InputError: it is no amount, or more than the tub holds (``most``, L).
    """
    if not text:
        return None
    litres = parse_amount(text if text[-1:].isalpha() else f"{text} L", "change", Dimension.VOLUME).to("L")
    if not 0.0 < litres <= most:
        raise InputError.one("change", text, f"more than nothing and at most {most:g} L")
    return litres


def _learnt(value: LearnedValue) -> Learnt:
    now, before = (rough(value.low), rough(value.high)), (rough(value.prior_low), rough(value.prior_high))
    return Learnt(value.key, value.unit, rough(value.median), now, before, value.known >= _SOME)
