"""The events of a keeper's file: tests, doses, soaks, fills, drains, feeder, and what was noticed."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace
from typing import Any

from tubwater.errors import InputError
from tubwater.facts import UNIT_OF, care_steps, methods, substances
from tubwater.measurement import reading_problem
from tubwater.services.entries import Entries
from tubwater.services.lookup import method_key
from tubwater.tub import (
    Answer,
    Cared,
    Clarity,
    Dosed,
    Drained,
    Event,
    FeederSet,
    Filled,
    MeasureKind,
    Noticed,
    OxidantScale,
    Product,
    Quantity,
    Reading,
    Shelf,
    Sign,
    Soaked,
    Tested,
)
from tubwater.units import Dimension, parse_amount, parse_number

__all__ = ["MOST_PEOPLE", "between", "event_of", "events_of", "products_by_name"]

MOST_PEOPLE = 60.0  # in one soak, told or asked about (judgement)
_OXIDANTS = frozenset({Quantity.BROMINE, Quantity.FREE_CHLORINE, Quantity.TOTAL_CHLORINE})
_BY_EYE = {Quantity.TABLETS_LEFT: "feeder-by-eye"}  # whatever the water beside it was tested with
_BEYOND = re.compile(r"\s*([<>])\s*(.+)")
_NUMBER = r"\d[\d.,]*"
# "2 to 3", "2 bis 3 mg/L", "between 2 and 3"; and "2-3", where the first is a number alone, so that no date is meant.
_BETWEEN_WORDS = re.compile(r"\s*(?:between\s+|zwischen\s+)?(\d.*?)\s+(?:to|bis|and|und)\s+(\d.*?)\s*", re.IGNORECASE)
_BETWEEN_DASH = re.compile(rf"\s*({_NUMBER})\s*[-–—−]\s*({_NUMBER}(?:\s*[^\d\s.,-].*?)?)\s*")
_VALUE = 'a number, "2 to 3" or "2-3" for between, "<1", ">10" or a text with a unit'


def products_by_name(shelf: Shelf) -> Mapping[str, Product]:
    """The products of a shelf by the keeper's names and by their substances."""
    by_substance = {product.substance: product for product in reversed(shelf.products)}
    return by_substance | {product.name: product for product in shelf.products}


def events_of(root: Entries, shelf: Mapping[str, Product]) -> tuple[Event, ...]:
    """All events of a file in the order of their times; signs stand until a look says ``signs = []``."""
    found: list[tuple[Event, bool]] = []
    for key, read in _readers(shelf).items():
        for entries in root.tables(key):
            event = read(entries)
            found += [(event, "signs" in entries)] if event else []
    return tuple(_carried(sorted(found, key=lambda row: row[0].at)))


def _carried(rows: Iterable[tuple[Event, bool]]) -> Iterator[Event]:
    """A look that does not speak of signs leaves those standing that were there before it."""
    standing: frozenset[Sign] = frozenset()
    for event, spoken in rows:
        if isinstance(event, Noticed):
            event = event if spoken else replace(event, signs=standing)
            standing = event.signs
        yield event


def event_of(kind: str, entries: Entries, shelf: Mapping[str, Product]) -> Event | None:
    """The event of one table; None where it is wrong or of another kind."""
    read = _readers(shelf).get(kind)
    return read(entries) if read else None


def _readers(shelf: Mapping[str, Product]) -> dict[str, Callable[[Entries], Event | None]]:
    return {
        "test": _tested,
        "dosed": lambda entries: _dosed(entries, shelf),
        "soaked": _soaked,
        "filled": _filled,
        "drained": _drained,
        "feeder": lambda entries: _feeder(entries, shelf),
        "noticed": _noticed,
        "cared": _cared,
    }


def _tested(entries: Entries) -> Event | None:
    at, method = entries.past(), _method(entries)
    scale = entries.word("scale", OxidantScale, OxidantScale.AS_BR2) if "scale" in entries else None
    since = entries.amount("after_dose", Dimension.TIME, "min", "30 min")
    jets = entries.word("jets", Answer, Answer.UNKNOWN)
    bathers = entries.number("bathers", 0.0, MOST_PEOPLE, "how many were in while it was sampled")
    guest = entries.yes("guest", False)
    found = []
    for quantity in Quantity:
        for key in {quantity.value, quantity.value.replace(" ", "_"), quantity.value.lower()} & set(entries.names()):
            ends = _ends(entries, key, quantity)
            if ends and at and method:
                own = scale if quantity in _OXIDANTS else None
                found.append((key, Reading(quantity, *ends, _BY_EYE.get(quantity, method), at, own, since)))
    entries.done(quantity.value.replace(" ", "_") for quantity in Quantity)
    _check(entries, found)
    return Tested(at, tuple(reading for _, reading in found), jets, bathers, guest) if at and found else None


def _method(entries: Entries) -> str:
    entries.need("method", f"what it was tested with, one of {', '.join(methods())}")
    given = entries.text("method")
    method = method_key(given)
    if given and not method:
        entries.wrong("method", given, f"one of {', '.join(methods())}")
    return method


def _check(entries: Entries, found: list[tuple[str, Reading]]) -> None:
    """What the method cannot have shown."""
    for key, reading in found:
        problem = reading_problem(reading, entries.where(key))
        if problem:
            entries.problems.append(problem)


def _ends(entries: Entries, key: str, quantity: Quantity) -> tuple[float, float, str] | None:
    """(low, high, unit) of what was read, or None where it is wrong."""
    value = entries.raw(key)
    unit = UNIT_OF[quantity]
    try:
        value = between(value) or value if isinstance(value, str) else value
        if isinstance(value, list) and len(value) == 2:
            (low, unit), (high, unit) = (
                _end(value[0], unit, entries.where(key)),
                _end(value[1], unit, entries.where(key)),
            )
            return low, high, unit
        if isinstance(value, str) and (beyond := _BEYOND.fullmatch(value)):
            end, unit = _end(beyond[2], unit, entries.where(key))
            return (-math.inf, end, unit) if beyond[1] == "<" else (end, math.inf, unit)
        end, unit = _end(value, unit, entries.where(key))
        return end, end, unit
    except InputError as error:
        entries.problems.extend(error.problems)
        return None


def between(text: str) -> list[str] | None:
    """Both ends of a reading between two steps, as they were written; None where it is something else."""
    found = _BETWEEN_WORDS.fullmatch(text) or _BETWEEN_DASH.fullmatch(text)
    return [found[1], found[2]] if found else None


def _end(value: Any, unit: str, field: str) -> tuple[float, str]:
    """A number and its unit; a bare number is in the unit that kits print."""
    if isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value):
        return float(value), unit
    if not isinstance(value, str):
        raise InputError.one(field, value, _VALUE)
    if re.fullmatch(r"\s*[+-]?[\d.,\s]+", value):
        return parse_number(value, field), unit
    if not re.search(r"\d", value):
        raise InputError.one(field, value, _VALUE)
    amount = parse_amount(value, field)
    return amount.value, amount.unit.key


def _named(entries: Entries, shelf: Mapping[str, Product]) -> Product | None:
    entries.need("product", "the name of a product of yours")
    name = entries.text("product")
    if name and name not in shelf:
        entries.wrong("product", name, f"a product that stands under [[product]]: {', '.join(shelf) or 'none so far'}")
    return shelf.get(name)


def _dosed(entries: Entries, shelf: Mapping[str, Product]) -> Event | None:
    at, product = entries.past(), _named(entries, shelf)
    grams, spread = _dose_grams(entries, product)
    certain = entries.yes("sure", True)
    entries.done()
    return Dosed(at, product.name, grams, spread, certain) if at and product and grams is not None else None


def _dose_grams(entries: Entries, product: Product | None) -> tuple[float | None, float]:
    count = entries.number("measures", 0.0, 1000.0, "a number of its own measures")
    own = [m for m in product.measures if m.kind is not MeasureKind.SCALE] if product else []
    if count is not None and own:
        return count * own[0].grams, own[0].spread
    if count is not None and product:
        entries.wrong("measures", count, "an amount instead, or a scoop, cap or spoon for this product")
    if "amount" not in entries and count is None:
        entries.need("amount", 'how much went in, such as "30 g"')
    substance = substances()[product.substance] if product else None
    return entries.grams("amount", substance, "30 g", 0.0, 20_000.0), 0.05


def _soaked(entries: Entries) -> Event | None:
    at = entries.past()
    entries.need("people", "how many were in")
    people = entries.number("people", 0.0, MOST_PEOPLE, "how many were in")
    minutes = entries.amount("lasted", Dimension.TIME, "min", "30 min", 0.0, 1440.0)
    entries.done()
    return Soaked(at, people, 30.0 if minutes is None else minutes) if at and people is not None else None


def _filled(entries: Entries) -> Event | None:
    at, litres = entries.past(), entries.amount("volume", Dimension.VOLUME, "L", "1300 L", 1.0, 30_000.0)
    entries.done()
    return Filled(at, litres) if at else None


def _drained(entries: Entries) -> Event | None:
    at = entries.past()
    entries.need("volume", 'how much was let out, such as "300 L"')
    litres = entries.amount("volume", Dimension.VOLUME, "L", "300 L", 1.0, 30_000.0)
    entries.done()
    return Drained(at, litres) if at and litres is not None else None


def _feeder(entries: Entries, shelf: Mapping[str, Product]) -> Event | None:
    at, product = entries.past(), _named(entries, shelf)
    entries.need("tablets", "how many tablets are in it now")
    tablets = entries.number("tablets", 0.0, 60.0, "tablets in the feeder")
    opening = entries.number("opening", 0.0, 1.0, "how far it is open")
    entries.done()
    return FeederSet(at, product.name, tablets, opening) if at and product and tablets is not None else None


def _noticed(entries: Entries) -> Event | None:
    at = entries.past()
    hours = entries.amount("too_little_sanitizer_for", Dimension.TIME, "h", "2 days", 0.0, 100_000.0)
    found = (entries.word("clarity", Clarity, Clarity.UNKNOWN), _signs(entries), hours)
    unlogged = entries.word("soak_not_noted", Answer, Answer.NO)
    entries.done()
    return Noticed(at, *found, unlogged) if at else None


def _cared(entries: Entries) -> Event | None:
    at = entries.past()
    entries.need("task", f"what was done, one of {', '.join(care_steps())}")
    task = entries.text("task")
    if task and task not in care_steps():
        entries.wrong("task", task, f"one of {', '.join(care_steps())}")
    entries.done()
    return Cared(at, task) if at and task else None


def _signs(entries: Entries) -> frozenset[Sign]:
    value = entries.raw("signs")
    known = [sign.value for sign in Sign if sign is not Sign.CLOSED]  # stands in the record, in a table of its own
    if value is None:
        return frozenset()
    if not isinstance(value, list):
        entries.wrong("signs", value, f'a list such as [] or ["slime"] out of {", ".join(known)}')
        return frozenset()
    for sign in value:
        if sign not in known:
            entries.wrong("signs", sign, f"one of {', '.join(known)}")
    return frozenset(Sign(sign) for sign in value if sign in known)
