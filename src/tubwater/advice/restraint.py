"""What is left alone: inside its aim, not known well enough, or not worth a keeper's while.

Whatever the search prefers, an addition has to be one that a careful keeper would give by this test.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from tubwater.advice.beside import Beside
from tubwater.advice.decide import Kit, oxidizer_to
from tubwater.advice.measures import grams_floor
from tubwater.advice.now import Situation
from tubwater.belief import Observer
from tubwater.dynamics import TubState
from tubwater.facts import defaults
from tubwater.facts.quantity import Quantity
from tubwater.measurement import distinguishes
from tubwater.tub import Product, Reading, Reason

__all__ = ["held_back", "ph_in_doubt", "remains", "within_aims"]

_SHARES = (1.0, 0.8, 0.6, 0.4, 0.2)  # of a dose, tried until it stays inside
_SHOWS = 1.0  # one-sigma of the keeper's own test by which a dose must show (judgement)
_WANTED, _SURE = (7.0, 8.0), 0.95  # where a plan ends, and how surely, where the test allows it
_SLACK = 0.01
_MAY_BE_LOW = 0.25  # probability from which low alkalinity is met without a reading that says so (judgement)
_LIKELY_LEAST = 0.1  # quantile of the alkalinity that has to be enough (judgement)
_MUCH = 1.2  # times the upper aim, from which it is worth a word (judgement)
_REMAINS = {Quantity.TOTAL_ALKALINITY: "alkalinity-in-steps", Quantity.CALCIUM_HARDNESS: "hardness-stays"}
_SHOWN_BY = {
    "acid": (Quantity.PH, Quantity.TOTAL_ALKALINITY),
    "soda_ash": (Quantity.PH, Quantity.TOTAL_ALKALINITY),
    "bicarbonate": (Quantity.TOTAL_ALKALINITY,),
}


def ph_in_doubt(case: Situation) -> Reason | None:
    """Why the pH is not known well enough for acid or base, or None: a belief too wide, or a dose nobody is sure of."""
    reading = case.last_valid(Quantity.PH)
    if reading is None:
        return None
    low, high = (float(q) for q in np.quantile(case.state.ph, (0.05, 0.95)))
    most = defaults()["ph_width_most"]
    values: dict[str, float | str] = {"quantity": str(Quantity.PH), "low": low, "high": high}
    if _unsure_since(case, reading):
        return Reason("dose-not-sure", values)
    return Reason("ph-too-wide", values, most.basis) if high - low > most.value else None


def _unsure_since(case: Situation, reading: Reading) -> bool:
    """Something that moves the pH may or may not have gone in since it was read."""
    unsure = [d for d in case.doses() if not d.certain and d.at >= reading.at]
    return any(abs(case.products.compositions[d.product].alkalinity) > 0.0 for d in unsure)


def held_back(case: Situation) -> dict[str, float]:
    """Levers that stay at nothing, by name."""
    doubt = ph_in_doubt(case)
    found = {"acid": 0.0, "soda_ash": 0.0} if doubt else {}
    if (doubt and doubt.kind == "dose-not-sure") or _alkalinity_enough(case):
        found["bicarbonate"] = 0.0
    return found


def _alkalinity_enough(case: Situation) -> bool:
    """Very likely above its lower aim, and read so where it was read; a fall until the next visit is the search's."""
    low = case.limits(Quantity.TOTAL_ALKALINITY).aim_low
    reading = case.last_valid(Quantity.TOTAL_ALKALINITY)
    believed = float(np.quantile(case.observer.read(Quantity.TOTAL_ALKALINITY), _LIKELY_LEAST))
    return believed >= low and (reading is None or case.middle(reading) >= low)


def within_aims(
    case: Situation, kit: Kit, levers: Mapping[str, float], seed: int, recovery: bool = False
) -> dict[str, float]:
    """The balance levers, cut to what stays inside the aims beside the oxidizer, without what no test of this
    keeper's could show; and, but for a ``recovery``, the oxidizer cut to what leaves the pH as sure as it is."""
    beside = Beside(case, seed=seed)
    sure, oxidizer, grams = _share(beside.state), kit.oxidizer, levers.get("oxidizer", 0.0)
    if oxidizer is not None and grams > 0.0:
        beside.state = beside.dosed(case.products.compositions[oxidizer.name], grams, 0.0)
    moved = _share(beside.state) < min(_SURE, sure) - 2.0 * _SLACK
    kept = dict(levers)
    for name in _SHOWN_BY:
        product: Product | None = getattr(kit, name)
        if product is not None and levers.get(name, 0.0) > 0.0:
            kept[name] = _cut(case, beside, name, product, levers[name], moved)
    if oxidizer is not None and moved and not recovery:
        kept["oxidizer"] = _oxidizer_left(case, kit, kept, seed, min(_SURE, sure) - 2.0 * _SLACK)
    return kept


def _oxidizer_left(case: Situation, kit: Kit, levers: Mapping[str, float], seed: int, sure: float) -> float:
    """The most of the oxidizer after which the pH ends as surely inside as is asked for, g; never less than bathing
    needs, since too little sanitizer is worse than a pH somewhat high."""
    assert kit.oxidizer is not None
    needed = min(oxidizer_to(case, kit, case.limits(case.sanitizer_quantity).bathing_low), levers["oxidizer"])
    for share in _SHARES:
        grams = grams_floor(kit.oxidizer, share * levers["oxidizer"])
        beside = Beside(case, seed=seed)
        for name in (*_SHOWN_BY, "oxidizer"):
            product: Product | None = getattr(kit, name)
            given = grams if name == "oxidizer" else levers.get(name, 0.0)
            if product is not None and given > 0.0:
                beside.state = beside.dosed(case.products.compositions[product.name], given, 0.0)
        if _share(beside.state) >= sure:
            return max(grams, grams_floor(kit.oxidizer, needed))
    return grams_floor(kit.oxidizer, needed)


def _cut(case: Situation, beside: Beside, name: str, product: Product, grams: float, moved: bool) -> float:
    """``moved``: the plan's own oxidizer takes the pH where it may not stay, whatever was read before."""
    composition = case.products.compositions[product.name]
    for share in _SHARES:
        tried = grams_floor(product, share * grams)
        after = beside.dosed(composition, tried, 0.0)
        if tried > 0.0 and _inside(case, beside, name, after):
            asked = moved or _read_outside(case, name) or _believed_low(case, name)
            return tried if asked or _shows(case, beside, name, after) else 0.0
    return 0.0


def _inside(case: Situation, beside: Beside, name: str, after: TubState) -> bool:
    """The middle of the believed waters does not cross the far end of the aim, and no more of them end outside."""
    if _share(after) < min(_SURE, _share(beside.state)) - _SLACK:
        return False
    ph, alkalinity = case.limits(Quantity.PH), case.limits(Quantity.TOTAL_ALKALINITY)
    middle = float(np.median(after.ph))
    if name == "acid":
        return middle >= ph.aim_low
    read = float(np.median(Observer(after).read(Quantity.TOTAL_ALKALINITY)))
    before = float(np.median(beside.ph()))
    return middle <= max(ph.aim_high, before) and (name == "soda_ash" or read <= alkalinity.aim_high)


def _read_outside(case: Situation, name: str) -> bool:
    """The keeper's own test asks for it: what the dose moves was read outside its aim, on that side."""
    for quantity in (Quantity.TOTAL_ALKALINITY, Quantity.PH) if name == "bicarbonate" else (Quantity.PH,):
        reading, limits = case.last_valid(quantity), case.limits(quantity)
        read = None if reading is None else case.middle(reading)
        if read is not None and (read > limits.aim_high if name == "acid" else read < limits.aim_low):
            return True
    return False


def _believed_low(case: Situation, name: str) -> bool:
    """Alkalinity that may well be low whatever was read: oxidizer and tablets take a little week by week, and the
    pads of a strip are forty apart."""
    low = case.limits(Quantity.TOTAL_ALKALINITY).aim_low
    return name == "bicarbonate" and float(np.mean(case.observer.read(Quantity.TOTAL_ALKALINITY) < low)) >= _MAY_BE_LOW


def _share(state: TubState) -> float:
    return float(np.mean((state.ph >= _WANTED[0]) & (state.ph <= _WANTED[1])))


def _shows(case: Situation, beside: Beside, name: str, after: TubState) -> bool:
    """Whether a test that this keeper has used could tell the water after the dose from the water before."""
    found = 0.0
    for quantity in _SHOWN_BY[name]:
        reading = case.last_valid(quantity)
        if reading is not None:
            was, now = (float(np.median(Observer(s).read(quantity))) for s in (beside.state, after))
            found = max(found, distinguishes(reading.method, quantity, was, now))
    return found >= _SHOWS


def remains(case: Situation, end: Beside) -> list[Reason]:
    """What this visit leaves above its aim: alkalinity for acid in steps, hardness of which the tap has as much."""
    return [r for r in (_remaining(case, end, quantity, kind) for quantity, kind in _REMAINS.items()) if r]


def _remaining(case: Situation, end: Beside, quantity: Quantity, kind: str) -> Reason | None:
    limits = case.limits(quantity)
    value = end.expect(quantity)[0].median
    if case.last_valid(quantity) is None or value <= _MUCH * limits.aim_high:
        return None
    return Reason(kind, {"quantity": str(quantity), "value": value, "high": limits.aim_high}, limits.basis)
