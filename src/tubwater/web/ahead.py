"""The outlook of a tub: its chart with a table beside it, and what a party, an absence or another feeder would do."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse
from markupsafe import Markup

from tubwater.errors import InputError, Problem
from tubwater.reports.bandchart import Band, BandChart, Happening, Seen, band_chart, band_table
from tubwater.reports.charts import Table
from tubwater.services.kits import BESIDE_A_TUB, limits_of, sanitizer_of
from tubwater.services.outlook import Outlook, Scenario
from tubwater.services.tested import last_readings
from tubwater.services.tubfile import TubFile
from tubwater.tub import Quantity
from tubwater.web.desk import Desk, Here
from tubwater.web.forms import Sent, asked_of_page, moment_of, share_in
from tubwater.web.show import kept_page, say

__all__ = ["Picture", "days_of", "outlook_page", "router", "scenario_of"]

router = APIRouter(include_in_schema=False)
_HOURS = 3  # between two points of a chart
_BACK = timedelta(days=4)  # how old a reading may be that the chart shows
_FIELDS = ("party_people", "party_at", "party_minutes", "away_from", "away_until", "opening", "tablets", "test", "days")


@dataclass(frozen=True)
class Picture:
    """A chart and the same as a table."""

    quantity: Quantity
    chart: Markup
    table: Table


@router.get("/tubs/{tub}/outlook")
def outlook_page(request: Request, desk: Here, tub: str) -> HTMLResponse:
    """Where the water is going, and what would change with it."""
    file, sent = desk.keeping.file(tub), asked_of_page(request)
    days, scenario, problems = 14.0, Scenario(), tuple[Problem, ...]()
    try:
        days, scenario = days_of(sent), scenario_of(desk, sent)
        then = desk.answers.outlook(tub, days, scenario)
    except InputError as error:
        days, scenario, problems = 14.0, Scenario(), error.problems
        then = desk.answers.outlook(tub)
    usual = then if scenario == Scenario() else desk.answers.outlook(tub, days)

    def values() -> dict[str, Any]:
        return {
            "tub": tub,
            "file": file,
            "units": file.units,
            "usual": usual,
            "then": None if then is usual else then,
            "pictures": [_picture(desk, file, q, usual, then) for q in (sanitizer_of(file.tub), Quantity.PH)],
            "asked": {name: sent.text(name) for name in _FIELDS},
            "opened": sent.text("asked") != "",
            "methods": BESIDE_A_TUB,
        }

    return kept_page(request, "outlook.html", (usual, then), values, problems=problems)


def days_of(sent: Sent) -> float:
    """How far to look, d."""
    return sent.number("days", 14.0) or 14.0


def scenario_of(desk: Desk, sent: Sent) -> Scenario:
    """What was asked; whether it can be meant is for the outlook to say.

    Raises:
        InputError: something cannot be read.
    """
    people = sent.number("party_people", 0.0) or 0.0
    party = _later(desk, sent, "party_at")
    return Scenario(
        party_at=party if people else None,
        party_people=people,
        party_minutes=sent.number("party_minutes", 60.0) or 60.0,
        away_from=_later(desk, sent, "away_from"),
        away_until=_later(desk, sent, "away_until"),
        opening=share_in("opening", sent.text("opening")),
        tablets=sent.number("tablets"),
        test_now=sent.word("test", BESIDE_A_TUB, BESIDE_A_TUB[0]) if sent.text("test") else "",
    )


def _later(desk: Desk, sent: Sent, name: str) -> datetime | None:
    text = moment_of(desk, sent, name).get("at")
    if text is None:
        return None
    found, now = datetime.fromisoformat(text), desk.now()
    if not now - timedelta(hours=1) <= found <= now + timedelta(days=60):
        raise InputError.one(name, sent.text(name), "a time within the next 60 days")
    return max(found, now)


def _picture(desk: Desk, file: TubFile, quantity: Quantity, usual: Outlook, then: Outlook) -> Picture:
    bands = [_band(desk, quantity, usual, planned=False)]
    bands += [] if then is usual else [_band(desk, quantity, then, planned=True)]
    chart = BandChart(
        quantity,
        limits_of(file.tub)[quantity],
        tuple(bands),
        _seen(desk, file, quantity),
        tuple(_happenings(desk, then)),
        desk.now(),
    )
    return Picture(quantity, Markup(band_chart(chart, units=file.units)), band_table(chart, file.units))


def _band(desk: Desk, quantity: Quantity, outlook: Outlook, planned: bool) -> Band:
    each = slice(None, None, _HOURS)
    times = tuple(desk.local(at) for at in outlook.times[each])
    p5, p25, p50, p75, p95 = (tuple(float(v) for v in row[each]) for row in outlook.bands[str(quantity)])
    return Band(times, p5, p25, p50, p75, p95, planned)


def _seen(desk: Desk, file: TubFile, quantity: Quantity) -> tuple[Seen, ...]:
    """The last reading, where it is young and inside the scale of its kit."""
    found = last_readings(file.events).get(quantity)
    if found is None or desk.now() - found.at > _BACK or not math.isfinite(found.low + found.high):
        return ()
    return (Seen(desk.local(found.at), 0.5 * (found.low + found.high), found.low, found.high),)


def _happenings(desk: Desk, outlook: Outlook) -> Sequence[Happening]:
    asked, found = outlook.scenario, []
    if asked.party_at:
        found.append((asked.party_at, say("outlook.party.mark", people=asked.party_people)))
    if asked.away_from and asked.away_until:
        found += [(asked.away_from, say("outlook.away.mark")), (asked.away_until, say("outlook.back.mark"))]
    return [Happening(desk.local(at), text, planned=True) for at, text in found]
