"""The tub card: for each pair of readings keep out, inside the limits, or what goes in first, without a network.

It is computed for now and for the end of its life, on the waters believed then, and says the more careful of the two.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from hashlib import sha256
from itertools import product

from tubwater.advice import Situation, judge
from tubwater.advice.dose_table import Does, DoseRow, dose_table
from tubwater.facts import methods
from tubwater.facts.quantity import OxidantScale, Quantity
from tubwater.services.advise import case_of
from tubwater.services.keeping import MODEL, Keeping
from tubwater.services.ports import Kind
from tubwater.services.tubfile import TubFile
from tubwater.tub import Amount, Clarity, Noticed, Reading, Tested, VerdictKind
from tubwater.tub.data import as_data, from_data

__all__ = ["CARD_DAYS", "CardRow", "TubCard", "card_of"]

CARD_DAYS = 14.0  # a card is void after so many days (judgement)
_MEMBERS = 400  # a coarser belief does for a card
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
    pairs = product(_readings(method, quantity), _readings(method, Quantity.PH))
    rows = tuple(_row(file, cases, tables, method, sanitizer, ph) for sanitizer, ph in pairs)
    return TubCard(now, void, quantity, method, rows)


def _method(case: Situation) -> str:
    read = case.readings(case.sanitizer_quantity)
    able = [r.method for r in read if Quantity.PH in methods()[r.method].quantities]
    return able[0] if able else "strip"


def _readings(method: str, quantity: Quantity) -> tuple[float, ...]:
    row = methods()[method].quantities[quantity]
    return row.steps or tuple(v for v in _READINGS[quantity] if row.low <= v <= row.high)


def _row(
    file: TubFile, cases: list[Situation], tables: list[tuple[DoseRow, ...]], method: str, sanitizer: float, ph: float
) -> CardRow:
    kind = VerdictKind.FIT
    for case in cases:
        if kind is not VerdictKind.KEEP_OUT:
            kind = min(kind, _kind(file, case, method, sanitizer, ph), key=_CAREFUL.index)
    row = CardRow(sanitizer, ph, kind)
    found = [_first(case, table, sanitizer, ph) for case, table in zip(cases, tables, strict=True)]
    return _careful(row, found)


def _kind(file: TubFile, case: Situation, method: str, sanitizer: float, ph: float) -> VerdictKind:
    """The verdict if just this were read at the time of the case, with a clear drain and nobody in unnoted."""
    quantity, at = case.sanitizer_quantity, case.now
    scale = OxidantScale.AS_BR2 if quantity is Quantity.BROMINE else OxidantScale.AS_CL2
    readings = (
        Reading(quantity, sanitizer, sanitizer, "mg/L", method, at, scale),
        Reading(Quantity.PH, ph, ph, "pH", method, at),
    )
    events = (*file.events, Tested(at, readings), Noticed(at, Clarity.CLEAR))
    return judge(case_of(file.tub, file.shelf, events, at, members=_MEMBERS)).kind


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
