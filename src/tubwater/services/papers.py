"""What a keeper writes for the record: samples, persons, source water, opening hours, closures, signatures."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from types import MappingProxyType
from typing import Any

from tubwater.errors import InputError
from tubwater.facts import in_unit_of
from tubwater.facts.record import Germ, record_rules
from tubwater.services.entries import Entries
from tubwater.tub import (
    Appointed,
    Clarity,
    Closed,
    ClosedWhy,
    Count,
    Event,
    Noticed,
    OpeningHours,
    Paper,
    Quantity,
    Reopened,
    Sampled,
    Sign,
    Signed,
    SourceWater,
)
from tubwater.units import Dimension, parse_amount, parse_number

__all__ = [
    "GERM_KEYS",
    "METALS",
    "SOURCE_QUANTITIES",
    "found_too_much",
    "paper_of",
    "papers_of",
    "shut_spans",
    "tap_value",
    "with_results",
]

GERM_KEYS: Mapping[str, Germ] = {germ.value.replace(". ", "_").replace(" ", "_"): germ for germ in Germ}
METALS = ("iron", "copper", "manganese")
SOURCE_QUANTITIES = (
    Quantity.PH,
    Quantity.TOTAL_ALKALINITY,
    Quantity.CALCIUM_HARDNESS,
    Quantity.TOTAL_HARDNESS,
    Quantity.CONDUCTIVITY,
)
_MOST_COUNT = 1e9
_LONGEST = 200  # letters of a text of the record
_LONGEST_REMARK = 1000
_LONGEST_WAIT = timedelta(days=730)  # from a sample to its result (judgement)
_EARLIEST_ZONE = timedelta(hours=14)  # where a day begins first
_NONE_FOUND = ("not found", "none", "not detected")
_COUNT = 'a number, "<10", ">300" or "not found"'


def papers_of(root: Entries) -> tuple[Paper, ...]:
    """All of a file, in the order of their times."""
    found = [p for kind, read in _READERS.items() for entries in root.tables(kind) if (p := read(entries))]
    return tuple(sorted(found, key=lambda paper: paper.at))


def paper_of(kind: str, entries: Entries) -> Paper | None:
    """One of a kind; None where it is wrong or of another kind."""
    read = _READERS.get(kind)
    return read(entries) if read else None


def found_too_much(sample: Sampled, guideline: str) -> tuple[Germ, ...]:
    """The germs of which there is more than the guideline bears; one that it does not name counts for nothing."""
    limits = record_rules()[guideline].germs
    return tuple(germ for germ, count in sample.counts.items() if germ in limits and count.low > limits[germ].most)


def with_results(events: Sequence[Event], papers: Sequence[Paper], guideline: str) -> tuple[Event, ...]:
    """The events with what keeps people out by the record: what a laboratory found, until a later result is clear, and
    closures, until it is said that the tub may open.

    It stands in every look of that time, whatever the look itself says; whatever stood before stands on.
    """
    samples = [paper for paper in papers if isinstance(paper, Sampled)]
    spans = [span for germ in Germ for span in _spans(samples, germ, guideline)]
    spans += [(Sign.CLOSED, closed.at, over.at if over else None) for closed, over in shut_spans(papers)]
    found = list(events)
    for sign, start, end in sorted(spans, key=lambda span: span[1]):
        found = [_marked(event, sign, start, end) for event in found]
        found.append(_look(found, start, sign))
        if sign is Sign.CLOSED and end is not None:
            found.append(_without_it(found, end, sign))
    return tuple(sorted(found, key=lambda event: event.at)) if spans else tuple(events)


def shut_spans(papers: Sequence[Paper]) -> list[tuple[Closed, Reopened | None]]:
    """Each closure with the entry that ended it, None so far."""
    ends = [paper for paper in papers if isinstance(paper, Reopened)]
    shut = (paper for paper in papers if isinstance(paper, Closed))
    return [(closed, next((over for over in ends if over.at > closed.at), None)) for closed in shut]


def _spans(samples: Sequence[Sampled], germ: Germ, guideline: str) -> list[tuple[Sign, datetime, datetime | None]]:
    """When there was too much of a germ: from a result to the next one that is clear of it, None where none is."""
    sign = Sign.LEGIONELLA if germ is Germ.LEGIONELLA else Sign.GERMS
    spans: list[tuple[Sign, datetime, datetime | None]] = []
    for sample in samples:
        standing = bool(spans) and spans[-1][2] is None
        if germ in found_too_much(sample, guideline):
            spans += [] if standing else [(sign, sample.at, None)]
        elif standing and germ in sample.counts:
            spans[-1] = (sign, spans[-1][1], sample.at)
    return spans


def _marked(event: Event, sign: Sign, start: datetime, end: datetime | None) -> Event:
    if not isinstance(event, Noticed) or event.at < start or (end is not None and event.at >= end):
        return event
    return replace(event, signs=event.signs | {sign})


def _look(events: Sequence[Event], at: datetime, sign: Sign) -> Noticed:
    before = [event for event in events if isinstance(event, Noticed) and event.at <= at]
    last = max(before, key=lambda event: event.at) if before else Noticed(at)
    return replace(last, at=at, clarity=Clarity.UNKNOWN, signs=last.signs | {sign}, lapse_hours=None)


def _without_it(events: Sequence[Event], at: datetime, sign: Sign) -> Noticed:
    look = _look(events, at, sign)
    return replace(look, signs=look.signs - {sign})


def _sampled(entries: Entries) -> Paper | None:
    at = entries.past()
    taken = entries.past("taken") if "taken" in entries else at
    if at and taken and taken > at:
        entries.wrong("taken", taken, f"a time that is not after its result ({at:%Y-%m-%d %H:%M})")
    elif at and taken and at - taken > _LONGEST_WAIT:
        entries.wrong("taken", taken, "a time in the two years before its result")
    texts = (_short(entries, "laboratory"), _short(entries, "report"), _short(entries, "point"))
    counts = {germ: count for key, germ in GERM_KEYS.items() if (count := _count(entries, key))}
    entries.need("laboratory", "who looked at the sample")
    sanitizer = entries.number("sanitizer", 0.0, 50.0, "mg/L of sanitizer where it was taken")
    ph = entries.number("pH", 4.0, 10.0, "a pH")
    entries.done()
    return Sampled(at, taken, *texts, MappingProxyType(counts), sanitizer, ph) if at and taken else None


def _count(entries: Entries, key: str) -> Count | None:
    value = entries.raw(key)
    if value is None:
        return None
    found = _count_of(value)
    if found is None or not 0.0 <= found.low <= _MOST_COUNT:
        entries.wrong(key, value, _COUNT)
        return None
    return found


def _count_of(value: Any) -> Count | None:
    if isinstance(value, str):
        text = value.strip()
        if text.lower() in _NONE_FOUND:
            return Count(0.0, 0.0)
        sign = text[:1] if text[:1] in "<>" else ""
        number = _number(text.removeprefix(sign))
        if number is None:
            return None
        return Count(0.0, number) if sign == "<" else Count(number, math.inf if sign else number)
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        return None
    return Count(float(value), float(value))


def _number(text: str) -> float | None:
    try:
        return parse_number(text)
    except InputError:
        return None


def _appointed(entries: Entries) -> Paper | None:
    at = entries.past()
    entries.need("name", "who answers for the checks")
    found = (_short(entries, "name"), _short(entries, "qualification"))
    entries.done()
    return Appointed(at, *found) if at and found[0] else None


def _source_water(entries: Entries) -> Paper | None:
    at = entries.past()
    values = {q: v for q in SOURCE_QUANTITIES if (v := _value(entries, q)) is not None}
    metals = {name: v for name in METALS if (v := _milligrams(entries, name, 100.0)) is not None}
    solids, report = _milligrams(entries, "dissolved_solids", 20_000.0), _short(entries, "report")
    if not {*entries.names()} - {"at", "report"}:
        entries.wrong("source_water", "nothing", "at least one value of the water from the tap")
    entries.done()
    return SourceWater(at, MappingProxyType(values), MappingProxyType(metals), solids, report) if at else None


def _value(entries: Entries, quantity: Quantity) -> float | None:
    return entries.number("pH", 4.0, 10.0, "a pH") if quantity is Quantity.PH else tap_value(entries, quantity)


def tap_value(entries: Entries, quantity: Quantity) -> float | None:
    """A value of the water from the tap with its unit, in that of ``Quantity``; None where there is none or it is
    wrong."""
    key = quantity.value.replace(" ", "_")
    text = entries.raw(key)
    if text is None:
        return None
    if not isinstance(text, str):
        entries.wrong(key, text, 'a value with its unit in quotes, such as "120 mg/L" or "14 °dH"')
        return None
    return _in_unit(entries, key, text, quantity)


def _in_unit(entries: Entries, key: str, text: str, quantity: Quantity) -> float | None:
    try:
        amount = parse_amount(text, entries.where(key), Dimension.HARDNESS if _as_hardness(quantity, text) else None)
        value = in_unit_of(quantity, amount.value, amount.unit.key, entries.where(key))
    except InputError as error:
        entries.problems.extend(error.problems)
        return None
    most = 20_000.0 if quantity is Quantity.CONDUCTIVITY else 3000.0
    if not 0.0 <= value <= most:
        entries.wrong(key, text, f"0 to {most:g} for water from a tap")
        return None
    return value


def _as_hardness(quantity: Quantity, text: str) -> bool:
    return "hardness" in quantity.value and "mmol" not in text


def _milligrams(entries: Entries, key: str, most: float) -> float | None:
    return entries.amount(key, Dimension.CONCENTRATION, "mg/L", "0.1 mg/L", 0.0, most)


def _opening_hours(entries: Entries) -> Paper | None:
    at = entries.past()
    entries.need("opens", 'when it opens, such as "09:00"')
    entries.need("closes", 'when it closes, such as "21:00"')
    opens, closes = _clock(entries, "opens"), _clock(entries, "closes")
    entries.done()
    return OpeningHours(at, opens, closes) if at and opens is not None and closes is not None else None


def _clock(entries: Entries, key: str) -> time | None:
    value = entries.raw(key)
    if value is None or isinstance(value, time):
        return value
    text = str(value)
    if re.fullmatch(r"([01]?\d|2[0-3]):[0-5]\d(:00)?", text):
        hours, minutes = text.split(":")[:2]
        return time(int(hours), int(minutes))
    entries.wrong(key, value, 'a time of the day, such as "09:00"')
    return None


def _closed(entries: Entries) -> Paper | None:
    at = entries.past()
    entries.need("reason", "why it was closed")
    why = entries.word("why", ClosedWhy, ClosedWhy.OTHER)
    reason, by = _short(entries, "reason"), _short(entries, "by")
    entries.done()
    return Closed(at, why, reason, by) if at and reason else None


def _reopened(entries: Entries) -> Paper | None:
    at, reason = entries.past(), _short(entries, "reason")
    entries.done()
    return Reopened(at, reason) if at else None


def _signed(entries: Entries) -> Paper | None:
    at = entries.past()
    entries.need("day", "the day that is signed, such as 2026-11-20")
    entries.need("name", "who signs")
    day, name = entries.day("day"), _short(entries, "name")
    bathers = entries.number("bathers", 0.0, 2000.0, "how many were in that day")
    remark = _short(entries, "remark", _LONGEST_REMARK)
    if day and at and day > (at + _EARLIEST_ZONE).astimezone(UTC).date():
        entries.wrong("day", day, f"a day that is not to come ({at:%Y-%m-%d} at most)")
    entries.done()
    return Signed(at, day, name, bathers, remark) if at and day and name else None


def _short(entries: Entries, key: str, most: int = _LONGEST) -> str:
    value = entries.raw(key)
    whole = isinstance(value, int) and not isinstance(value, bool)  # a number of a report, typed as one
    text = str(value) if whole else entries.text(key)
    if len(text) > most or not text.replace("\n", " ").isprintable():
        entries.wrong(key, f"{text[:20]} ...", f"a text of at most {most} letters that can be printed")
    return text


_READERS: Mapping[str, Callable[[Entries], Paper | None]] = {
    "sampled": _sampled,
    "appointed": _appointed,
    "source_water": _source_water,
    "opening_hours": _opening_hours,
    "closed": _closed,
    "reopened": _reopened,
    "signed": _signed,
}
