"""Acid and bicarbonate at one visit: which goes in first, how much of each, and a word where one of them stays out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from tubwater.advice.decide import Kit, acid_beside
from tubwater.advice.measures import grams_floor
from tubwater.advice.now import Situation
from tubwater.advice.short import Wanted
from tubwater.advice.timeline import Timeline
from tubwater.facts.quantity import Quantity
from tubwater.tub import Reason

__all__ = ["ACID_FIRST", "beside_base", "in_order", "kept_out_by_ph", "stays_out"]

ACID_FIRST = frozenset({"lower-ph-first", "acid-makes-room"})
_BASES = (1.0, 0.75, 0.5)  # of the bicarbonate that is wanted, tried until acid finds room for it
_ACIDS = 5


def in_order(
    line: Timeline, case: Situation, kit: Kit, wanted: tuple[Wanted, ...], sanitizer_high: float
) -> tuple[Wanted, ...]:
    """Acid first where pH keeps people out or alkalinity may well be low, and bicarbonate has no room but after it;
    where it has none at all after what is wanted, with the least acid that makes room."""
    base, acid = (next((w for w in wanted if w.name == name), None) for name in ("bicarbonate", "acid"))
    needed = kept_out_by_ph(case) or _may_be_low(case, kit)
    if base is None or acid is None or not needed or line.fits(base.product, base.grams, sanitizer_high):
        return wanted
    for first, then in _pairs(line, case, kit, acid, base, sanitizer_high):
        if line.fits_after(first.product, first.grams, then.product, then.grams, sanitizer_high):
            return tuple(first if item is base else then if item is acid else item for item in wanted)
    return wanted


def _pairs(
    line: Timeline, case: Situation, kit: Kit, acid: Wanted, base: Wanted, sanitizer_high: float
) -> Iterator[tuple[Wanted, Wanted]]:
    """Acid and bicarbonate as they are wanted; where bicarbonate finds no room at all, then with more acid, as far as
    it may stand beside the bicarbonate, and with less of both."""
    yield acid, base
    beside = acid_beside(case, kit)
    if not np.isfinite(beside) or line.room(base.product, base.grams, sanitizer_high) > 0.0:
        return
    for share in _BASES:
        then = replace(base, grams=grams_floor(base.product, share * base.grams))
        most = beside * then.grams
        tried = {grams_floor(acid.product, g) for g in np.linspace(min(acid.grams, most), most, _ACIDS)}
        yield from ((replace(acid, grams=grams), then) for grams in sorted(tried) if grams > 0.0)


def beside_base(item: Wanted, wanted_base: float, given: dict[str, float]) -> Wanted:
    """Acid that stands against what bicarbonate brings (g wanted), in the share in which that really went in."""
    if item.name != "acid" or wanted_base <= 0.0:
        return item
    share = min(given.get("bicarbonate", 0.0) / wanted_base, 1.0)
    return replace(item, grams=grams_floor(item.product, item.grams * share))


def kept_out_by_ph(case: Situation) -> bool:
    """The pH was read so high that nobody may get in."""
    reading = case.last_valid(Quantity.PH)
    return reading is not None and case.middle(reading) > case.limits(Quantity.PH).bathing_high


def _may_be_low(case: Situation, kit: Kit) -> bool:
    """The alkalinity may well be too low, so that acid needs bicarbonate beside it."""
    return bool(np.isfinite(acid_beside(case, kit)))


def stays_out(line: Timeline, case: Situation, kit: Kit, later: bool) -> list[Reason]:
    """Says so where the pH stays too high to bathe in, since bicarbonate has to go in before acid and has no room; or
    else where alkalinity that is too low gets no bicarbonate. ``later``: it is left for another time."""
    if not _may_be_low(case, kit):
        return []
    limits, ph = case.limits(Quantity.TOTAL_ALKALINITY), _middle(line, Quantity.PH)
    alkalinity = _middle(line, Quantity.TOTAL_ALKALINITY)
    if kit.acid is not None and kept_out_by_ph(case) and line.given(kit.acid) <= 0.0:
        return [Reason("acid-held-back", {"value": ph, "alkalinity": alkalinity})]
    given = kit.bicarbonate is not None and line.given(kit.bicarbonate) > 0.0
    if kit.bicarbonate is None or later or given or alkalinity >= limits.aim_low:
        return []
    values: dict[str, float | str] = {"value": alkalinity, "low": limits.aim_low, "high": limits.aim_high}
    return [Reason("bicarbonate-held-back", values | {"ph": ph}, limits.basis)]


def _middle(line: Timeline, quantity: Quantity) -> float:
    return line.beside.expect(quantity)[0].median
