"""The visits of a logbook: their entries as events of the fold, and whether one of them keeps people out now."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from tubwater.advice.beside_tub import Running, VisitEvent, What
from tubwater.advice.running import fold, holds_back
from tubwater.services.effective import effective
from tubwater.services.ports import Kind, Stored
from tubwater.tub import Plan, Quantity, Reason
from tubwater.tub.data import from_data

__all__ = ["events_of_visit", "foreseen_plan", "held_back", "last_tests", "running_of", "visits_of"]


def visits_of(entries: Sequence[Stored]) -> tuple[str, ...]:
    """The ids of all visits, the newest last."""
    said = (s.entry.body for s in entries if s.entry.kind is Kind.VISIT)
    return tuple(dict.fromkeys(str(body["visit"]) for body in said if body["what"] == What.BEGUN))


def events_of_visit(entries: Sequence[Stored], visit: str) -> list[VisitEvent]:
    """What was said in a visit, in the order in which it was recorded."""
    return [_event(s) for s in entries if s.entry.kind is Kind.VISIT and s.entry.body["visit"] == visit]


def running_of(entries: Sequence[Stored], visit: str, now: datetime) -> Running | None:
    """A visit at ``now``; None where there is no such visit."""
    events = events_of_visit(entries, visit)
    return fold(events, now, last_tests(entries)) if events else None


def held_back(entries: Sequence[Stored], now: datetime) -> Reason | None:
    """Why nobody may get in because of a visit that is under way, or None."""
    for visit in reversed(visits_of(entries)):
        state = running_of(entries, visit, now)
        reason = holds_back(state) if state else None
        if reason:
            return reason
    return None


def foreseen_plan(entries: Sequence[Stored], visit: str, entry: str) -> Plan | None:
    """The plan of the packet's case that an answer was given by; None where there is none or it is unknown."""
    said = next((s.entry.body for s in entries if s.entry.id == entry), None)
    case = str(said.get("case", "")) if said else ""
    packets = [s.entry.body["value"] for s in entries if s.entry.id.startswith(f"{visit}-packet-")]
    for packet in reversed(packets):
        found = next((c for c in packet["cases"] if c["id"] == case), None) if case else None
        if found:
            return from_data(Plan, packet["plans"][found["plan"]])
    return None


def _event(stored: Stored) -> VisitEvent:
    entry, body = stored.entry, stored.entry.body
    return VisitEvent(
        id=entry.id,
        what=What(body["what"]),
        at=entry.happened,
        by=entry.source.actor,
        step=str(body.get("step", "")),
        plan=from_data(Plan, body["plan"]) if body.get("plan") else None,
        grams=float(body.get("grams", 0.0)),
        about=str(body.get("about", "")),
        because=tuple(from_data(Reason, one) for one in body.get("because", ())),
        to=str(body.get("to", "")),
    )


def last_tests(entries: Sequence[Stored]) -> Mapping[str, datetime]:
    """When each quantity was read last."""
    found: dict[str, datetime] = {}
    for line in effective(entries):
        if line.stands and line.stored.entry.kind is Kind.TEST:
            found |= {name: line.happened for name in map(_quantity, line.body) if name}
    return found


def _quantity(key: str) -> str:
    """The quantity that a key of a test's table names, or empty."""
    plain = key.replace("_", " ").lower()
    return next((q.value for q in Quantity if q.value.lower() == plain), "")
