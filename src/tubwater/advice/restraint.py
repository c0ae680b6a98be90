"""What is left alone: inside its aim, not known well enough, or not worth a keeper's while.

Whatever the search prefers, an addition has to be one that a careful keeper would give by this test.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from tubwater.advice.beside import Beside
from tubwater.advice.decide import Kit, acid_beside, oxidizer_to
from tubwater.advice.measures import grams_ceil, grams_floor, measure_spread
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
_DRAWS = 3
_LIKELY_LEAST = 0.1  # quantile of the alkalinity that has to be enough (judgement)
_FALLS = 5.0  # mg/L that oxidizer, tablets and top-up may take until then (judgement)
_MUCH = 1.2  # times the upper aim, from which it is worth a word (judgement)
_REMAINS = {Quantity.TOTAL_ALKALINITY: "alkalinity-in-steps", Quantity.CALCIUM_HARDNESS: "hardness-stays"}
_SHOWN_BY = {  # in the order of the work
    "bicarbonate": (Quantity.TOTAL_ALKALINITY,),
    "acid": (Quantity.PH, Quantity.TOTAL_ALKALINITY),
    "soda_ash": (Quantity.PH, Quantity.TOTAL_ALKALINITY),
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
    """Very likely above its lower aim until the next visit, and read so where it was read."""
    low = case.limits(Quantity.TOTAL_ALKALINITY).aim_low
    reading = case.last_valid(Quantity.TOTAL_ALKALINITY)
    believed = float(np.quantile(case.observer.read(Quantity.TOTAL_ALKALINITY), _LIKELY_LEAST))
    return believed >= low + _FALLS and (reading is None or case.middle(reading) >= low)


def within_aims(
    case: Situation, kit: Kit, levers: Mapping[str, float], seed: int, recovery: bool = False
) -> dict[str, float]:
    """The balance levers, cut to what stays inside the aims beside the oxidizer, without what no test of this
    keeper's could show; and, but for a ``recovery``, the oxidizer cut to what leaves the pH as sure as it is."""
    beside = Beside(case, seed=seed)
    sure, oxidizer, grams = _share(beside.state), kit.oxidizer, levers.get("oxidizer", 0.0)
    moved = False
    if oxidizer is not None and grams > 0.0:
        moved = _share_after(case, beside, oxidizer, grams) < min(_SURE, sure) - _SLACK
        beside.state = beside.dosed(case.products.compositions[oxidizer.name], grams, 0.0)
    both = _both(case, kit, beside, levers)
    kept = {**levers, **both}
    for name in () if "bicarbonate" in both else _SHOWN_BY:
        product: Product | None = getattr(kit, name)
        if product is not None and kept.get(name, 0.0) > 0.0:
            kept[name] = _cut(case, beside, name, product, kept[name], moved or name == "bicarbonate")
            beside.state = beside.dosed(case.products.compositions[product.name], kept[name], 0.0)
    if oxidizer is not None and moved and not recovery:
        kept["oxidizer"] = _oxidizer_left(case, kit, kept, seed, min(_SURE, sure) - _SLACK)
    return kept


def _both(case: Situation, kit: Kit, beside: Beside, levers: Mapping[str, float]) -> dict[str, float]:
    """Bicarbonate with acid against the pH that it brings, both in the same share, judged by where they end together;
    without room for both, the acid waits where the alkalinity needs it."""
    base, acid, most = levers.get("bicarbonate", 0.0), levers.get("acid", 0.0), acid_beside(case, kit)
    alone = {"acid": 0.0} if np.isfinite(most) else {}
    if kit.bicarbonate is None or kit.acid is None or base <= 0.0 or acid <= 0.0:
        return alone
    recipes, before = case.products.compositions, beside.state
    for share in _SHARES:
        bicarbonate = grams_floor(kit.bicarbonate, share * base)
        tried = {"bicarbonate": bicarbonate, "acid": grams_floor(kit.acid, min(share * acid, most * bicarbonate))}
        beside.state = beside.dosed(recipes[kit.bicarbonate.name], bicarbonate, 0.0)
        beside.state = beside.dosed(recipes[kit.acid.name], tried["acid"], 0.0)
        if min(tried.values()) > 0.0 and all(_inside(case, before, name, beside.state) for name in tried):
            return tried
        beside.state = before
    return alone


def _oxidizer_left(case: Situation, kit: Kit, levers: Mapping[str, float], seed: int, sure: float) -> float:
    """The most of the oxidizer after which the pH ends as surely inside as is asked for, g; never less than bathing
    needs, since too little sanitizer is worse than a pH somewhat high."""
    assert kit.oxidizer is not None
    low = case.limits(case.sanitizer_quantity).bathing_low
    needed = min(oxidizer_to(case, kit, low, hours=0.0), levers["oxidizer"])
    for share in _SHARES:
        grams = grams_floor(kit.oxidizer, share * levers["oxidizer"])
        beside = Beside(case, seed=seed)
        for name in _SHOWN_BY:
            product: Product | None = getattr(kit, name)
            if product is not None and levers.get(name, 0.0) > 0.0:
                beside.state = beside.dosed(case.products.compositions[product.name], levers[name], 0.0)
        if _share_after(case, beside, kit.oxidizer, grams) >= sure:
            return max(grams, grams_ceil(kit.oxidizer, needed))
    return grams_ceil(kit.oxidizer, needed)


def _cut(case: Situation, beside: Beside, name: str, product: Product, grams: float, asked: bool) -> float:
    """``asked``: the plan's own oxidizer takes the pH where it may not stay, or what oxidizer and tablets use up of
    the alkalinity is given back, whatever was read before."""
    composition = case.products.compositions[product.name]
    for share in _SHARES:
        tried = grams_floor(product, share * grams)
        after = beside.dosed(composition, tried, 0.0)
        if tried > 0.0 and _inside(case, beside.state, name, after):
            return tried if asked or _read_outside(case, name) or _shows(case, beside, name, after) else 0.0
    return 0.0


def _inside(case: Situation, before: TubState, name: str, after: TubState) -> bool:
    """The middle of the believed waters does not cross the far end of the aim, and no more of them end outside."""
    if _share(after) < min(_SURE, _share(before)) - _SLACK:
        return False
    ph, alkalinity = case.limits(Quantity.PH), case.limits(Quantity.TOTAL_ALKALINITY)
    middle = float(np.median(after.ph))
    if name == "acid":
        return middle >= ph.aim_low
    read = float(np.median(Observer(after).read(Quantity.TOTAL_ALKALINITY)))
    return middle <= max(ph.aim_high, float(np.median(before.ph))) and (
        name == "soda_ash" or read <= alkalinity.aim_high
    )


def _read_outside(case: Situation, name: str) -> bool:
    """The keeper's own test asks for it: what the dose moves was read outside its aim, on that side."""
    for quantity in (Quantity.TOTAL_ALKALINITY, Quantity.PH) if name == "bicarbonate" else (Quantity.PH,):
        reading, limits = case.last_valid(quantity), case.limits(quantity)
        read = None if reading is None else case.middle(reading)
        if read is not None and (read > limits.aim_high if name == "acid" else read < limits.aim_low):
            return True
    return False


def _share_after(case: Situation, beside: Beside, product: Product, grams: float) -> float:
    """Share of the waters inside after an addition, the least of a few draws of the keeper's measure."""
    composition, spread = case.products.compositions[product.name], measure_spread(product)
    return min(_share(beside.dosed(composition, grams, spread)) for _ in range(_DRAWS))


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
