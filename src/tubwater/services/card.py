"""The tub card: for each pair of readings keep out, inside the limits, or what goes in first, without a network.

A reading has to be sure by itself to be called inside. Doses are computed for now and for the end of the card's life,
on the waters believed then, and the smaller one is said.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from hashlib import sha256
from itertools import product

import numpy as np

from tubwater.advice import Situation, judge
from tubwater.advice.dose_table import Does, DoseRow, dose_table
from tubwater.advice.stops import stops
from tubwater.facts import Limits, defaults, methods
from tubwater.facts.quantity import OxidantScale, Quantity
from tubwater.measurement import ReadingContext, log_likelihood
from tubwater.services.advise import case_of
from tubwater.services.keeping import MODEL, Keeping
from tubwater.services.ports import Kind
from tubwater.services.tubfile import TubFile
from tubwater.tub import Amount, Reading, VerdictKind
from tubwater.tub.data import as_data, from_data

__all__ = ["CARD_DAYS", "CardRow", "TubCard", "card_of"]

CARD_DAYS = 14.0  # a card is void after so many days (judgement)
_MEMBERS = 400  # a coarser belief does for a card
_TRUE_VALUES = 400
_CLOSED = {"lapse", "lapse-unknown", "too-hot"}  # no pair of readings opens these
_CAREFUL = (VerdictKind.KEEP_OUT, VerdictKind.NOT_YET, VerdictKind.FIT)
_READINGS = {  # of a method that has no colours of its own (judgement)
    Quantity.BROMINE: (1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 10.0),
    Quantity.FREE_CHLORINE: (0.5, 1.0, 2.0, 3.0, 5.0, 10.0),
    Quantity.PH: (6.8, 7.0, 7.2, 7.5, 7.8, 8.0, 8.2),
}


@dataclass(frozen=True)
class CardRow:
    """One pair of readings.

    Attributes:
        verdict: FIT is "inside the limits". first: what goes in first, None for nothing. ask: a plan is needed first.
    """

    sanitizer: float
    ph: float
    verdict: VerdictKind
    first: Amount | None = None
    minutes: float = 0.0
    ask: bool = False


@dataclass(frozen=True)
class TubCard:
    """A card: dated, void after ``void``, and once any product that is not on it went in."""

    made: datetime
    void: datetime
    quantity: Quantity
    method: str
    rows: tuple[CardRow, ...]


def card_of(keeping: Keeping, tub: str) -> TubCard:
    """The card of a tub as of now.

    Raises:
        UnknownEntry: there is no such tub.
    """
    file, now = keeping.file(tub), keeping.clock.now()
    key = _key(keeping, tub, now)
    kept = keeping.snapshots.get(key)
    if kept is not None:
        return from_data(TubCard, json.loads(kept))
    card = _computed(file, now)
    keeping.snapshots.put(key, json.dumps(as_data(card)).encode())
    return card


def _key(keeping: Keeping, tub: str, now: datetime) -> str:
    """A card stays the same for a day, as long as nothing is entered."""
    told = "".join(s.entry.id + "\n" for s in keeping.entries(tub) if s.entry.kind is not Kind.SHOWN)
    return f"card-{MODEL}-{now:%Y-%m-%d}-{sha256(told.encode()).hexdigest()}"


def _computed(file: TubFile, now: datetime) -> TubCard:
    void = now + timedelta(days=CARD_DAYS)
    cases = [case_of(file.tub, file.shelf, file.events, at, members=_MEMBERS) for at in (now, void)]
    tables = [dose_table(case) for case in cases]
    quantity, method = cases[0].sanitizer_quantity, _method(cases[0])
    kinds = {r.kind for r in judge(cases[0]).reasons}
    closed = stops(kinds) or bool(kinds & _CLOSED) or any(k.startswith("sign-") for k in kinds)
    pairs = product(_readings(method, quantity), _readings(method, Quantity.PH))
    rows = tuple(_row(cases, tables, method, sanitizer, ph, closed) for sanitizer, ph in pairs)
    return TubCard(now, void, quantity, method, rows)


def _plain(case: Situation, sanitizer: float, ph: float) -> VerdictKind:
    """What the readings alone say."""
    kinds = [_by_limits(case.limits(q), v) for q, v in ((case.sanitizer_quantity, sanitizer), (Quantity.PH, ph))]
    return min(kinds, key=_CAREFUL.index)


def _by_limits(limits: Limits, value: float) -> VerdictKind:
    if not limits.keep_out_low <= value <= limits.keep_out_high:
        return VerdictKind.KEEP_OUT
    inside = limits.bathing_low <= value <= limits.bathing_high
    return VerdictKind.FIT if inside else VerdictKind.NOT_YET


def _method(case: Situation) -> str:
    read = case.readings(case.sanitizer_quantity)
    able = [r.method for r in read if Quantity.PH in methods()[r.method].quantities]
    return able[0] if able else "strip"


def _readings(method: str, quantity: Quantity) -> tuple[float, ...]:
    row = methods()[method].quantities[quantity]
    return row.steps or tuple(v for v in _READINGS[quantity] if row.low <= v <= row.high)


def _row(
    cases: list[Situation],
    tables: list[tuple[DoseRow, ...]],
    method: str,
    sanitizer: float,
    ph: float,
    closed: bool,
) -> CardRow:
    case = cases[0]
    kind = VerdictKind.KEEP_OUT if closed else _plain(case, sanitizer, ph)
    sure = _sure(case, case.sanitizer_quantity, method, sanitizer) >= defaults()["sure_sanitizer"].value
    if kind is VerdictKind.FIT and not (sure and _sure(case, Quantity.PH, method, ph) >= defaults()["sure_ph"].value):
        kind = VerdictKind.NOT_YET
    found = [_first(case, table, sanitizer, ph) for case, table in zip(cases, tables, strict=True)]
    return _careful(CardRow(sanitizer, ph, kind), found)


def _sure(case: Situation, quantity: Quantity, method: str, value: float) -> float:
    """Probability that the true value is inside the bathing limits, from the reading and its method alone.

    What is believed of the water is left out: in two weeks it says little, and here it may not open what a reading
    would not. Every true value that the method can show counts the same beforehand.
    """
    row, limits = methods()[method].quantities[quantity], case.limits(quantity)
    scales = {Quantity.BROMINE: OxidantScale.AS_BR2, Quantity.FREE_CHLORINE: OxidantScale.AS_CL2}
    unit = "pH" if quantity is Quantity.PH else "mg/L"
    reading = Reading(quantity, value, value, unit, method, case.now, scales.get(quantity))
    true = np.linspace(row.low, 1.5 * row.high if quantity is not Quantity.PH else row.high, _TRUE_VALUES)
    weight = np.exp(log_likelihood(reading, true, ReadingContext()))
    inside = (true >= limits.bathing_low) & (true <= limits.bathing_high)
    return float(np.sum(weight * inside) / np.sum(weight))


def _first(case: Situation, table: tuple[DoseRow, ...], sanitizer: float, ph: float) -> DoseRow | None:
    """What goes in first: sanitizer where it is too low for bathing, then pH, then a top-up of the sanitizer."""
    rows = {q: _find(table, q, v) for q, v in ((case.sanitizer_quantity, sanitizer), (Quantity.PH, ph))}
    low = sanitizer < case.limits(case.sanitizer_quantity).bathing_low
    order = (case.sanitizer_quantity, Quantity.PH) if low else (Quantity.PH, case.sanitizer_quantity)
    wanted = [rows[q] for q in order]
    return next((r for r in wanted if r is not None and r.does is not Does.LEAVE), None)


def _find(table: tuple[DoseRow, ...], quantity: Quantity, value: float) -> DoseRow | None:
    return next((r for r in table if r.quantity is quantity and r.low <= value <= r.high), None)


def _careful(row: CardRow, found: list[DoseRow | None]) -> CardRow:
    """The smaller dose where both ask for the same product, otherwise a plan."""
    if all(r is None for r in found):
        return replace(row, ask=row.verdict is not VerdictKind.FIT)
    if any(r is None or r.does is not Does.ADD or r.amount is None for r in found):
        return replace(row, ask=True)
    amounts = [r.amount for r in found if r is not None and r.amount is not None]
    if len({a.product for a in amounts}) > 1:
        return replace(row, ask=True)
    minutes = max(r.minutes for r in found if r is not None)
    return replace(row, first=min(amounts, key=lambda a: a.grams), minutes=minutes)
