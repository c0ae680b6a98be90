"""What only water can remove: how many litres to change, with this fill water's own make-up."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tubwater.advice.decide import kit_of
from tubwater.advice.heating import hose_minutes, reheat_minutes
from tubwater.advice.now import Situation
from tubwater.advice.safety import cap_grams
from tubwater.advice.timeline import MOST_PARTS, Timeline
from tubwater.belief import Observer
from tubwater.dynamics import Mode, TubState, advance, refill
from tubwater.facts import Basis, BasisKind, defaults
from tubwater.facts.quantity import Quantity
from tubwater.tub import Expectation, Reason, Step, StepKind

__all__ = ["Change", "after_change", "change_needed", "expected_after", "with_fill_water", "write_change"]

_TOO_MUCH = {  # times the upper aim (judgement), and why it is water that helps
    Quantity.TOTAL_ALKALINITY: (2.0, "water-is-quicker"),
    Quantity.CALCIUM_HARDNESS: (1.6, "only-water-helps"),
    Quantity.CYANURIC_ACID: (2.0, "only-water-helps"),
}
_SURE = 0.7  # a read value may still be a blunder (judgement)
_BRINGS = 1.0 / 3.0  # of the way to the aim in one change; less is not worth it (judgement)
_LEAST = 0.1  # of the water; less is not worth the hose
_VISITS = 2.0  # whose oxidizer together would not pay what the water owes (judgement)
_DEMAND = Basis(BasisKind.CALCULATION, (), "what people brought in, as believed, against the caps of the additions")


@dataclass(frozen=True)
class Change:
    """A partial drain: share and litres of the water, why, and whether it would take more than one."""

    share: float
    litres: float
    reason: Reason
    whole: bool


def change_needed(case: Situation) -> Change | None:
    """The largest partial drain that a quantity asks for, or what people left in the water, or None; only a read
    quantity counts."""
    found = [c for c in (*(_change(case, quantity) for quantity in _TOO_MUCH), _of_debt(case)) if c is not None]
    return max(found, key=lambda c: c.share) if found else None


def _of_debt(case: Situation) -> Change | None:
    """Where the sanitizer read as lost, and the water very likely owes more than the oxidizer of some visits pays."""
    read, paid = case.last_valid(case.sanitizer_quantity), _paid(case)
    if read is None or paid <= 0.0 or case.middle(read) >= case.limits(case.sanitizer_quantity).keep_out_low:
        return None
    owed = case.owed(case.state)
    if float(np.mean(owed > _VISITS * paid)) < _SURE:
        return None
    wanted = 1.0 - paid / float(np.median(owed))
    values: dict[str, float | str] = {"value": float(np.median(owed)), "paid": paid}
    return _part(case, wanted, Reason("water-owes-too-much", values, _DEMAND))


def _paid(case: Situation) -> float:
    """The sanitizer that all the oxidizer of one visit makes, mg/L on the tub's own scale; 0 where there is none."""
    oxidizer = kit_of(case).oxidizer
    if oxidizer is None:
        return 0.0
    litres = float(np.median(case.rates.litres))
    grams = MOST_PARTS * cap_grams(oxidizer, litres)
    return float(grams * case.products.compositions[oxidizer.name].oxidant * case.grams_per_mol / litres * 1000.0)


def _part(case: Situation, wanted: float, reason: Reason) -> Change:
    """So much of the water, as far as one change goes."""
    most = defaults()["drain_share_most"].value
    share = min(wanted, most)
    return Change(share, round(share * float(np.median(case.rates.litres)) / 10.0) * 10.0, reason, wanted > most)


def _change(case: Situation, quantity: Quantity) -> Change | None:
    if case.last_valid(quantity) is None:
        return None
    aim, (times, kind) = case.limits(quantity).aim_high, _TOO_MUCH[quantity]
    present = case.observer.read(quantity)
    if float(np.mean(present > times * aim)) < _SURE:
        return None
    fresh = Observer(replace(case.state, water=case.rates.fill)).read(quantity)
    room = np.maximum(present - fresh, 1e-9)
    wanted = float(np.median((present - aim) / room))
    most = defaults()["drain_share_most"].value
    brings = float(np.median(min(wanted, most) * room / np.maximum(present - aim, 1e-9)))
    if wanted < _LEAST or brings < _BRINGS:
        return None
    values: dict[str, float | str] = {"quantity": str(quantity), "value": float(np.median(present)), "high": aim}
    return _part(case, wanted, Reason(kind, values, case.limits(quantity).basis))


def after_change(case: Situation, litres: float) -> Situation:
    """The situation once ``litres`` were let out and replaced by fill water, warm again after hours under the cover."""
    state = refill(case.state, case.rates, litres / case.rates.litres)
    hours = reheat_minutes(case.tub, litres) / 60.0
    if hours > 0.0:
        state = advance(state, case.rates, hours, Mode.COVERED, case.products.tablet)
    solved = replace(state, ph=Observer(state).solved.ph)
    return replace(case, belief=replace(case.belief, state=solved))


def write_change(line: Timeline, case: Situation, change: Change) -> None:
    """Power off, let out, fill up, warm, and test before anything is balanced."""
    minutes, litres = hose_minutes(change.litres), change.litres
    off, full = ("electric-off", "power-when-full") if case.tub.equipment.pump else ("fire-out", "fire-when-full")
    cautions, again = (off, "drain-where-allowed"), (Reason("on-again-when-full"),)
    line.add(Step(StepKind.DRAIN, minutes=minutes, litres=litres, reasons=(change.reason,), cautions=cautions))
    filled = Step(StepKind.FILL, minutes=minutes, litres=litres, expected=expected_after(case), partial=True)
    line.add(replace(filled, reasons=again, cautions=(full,)))
    heating = reheat_minutes(case.tub, change.litres)
    if heating > 0.0:
        line.add(Step(StepKind.HEAT, minutes=heating, reasons=(Reason("warm-before-dosing"),)))
    line.test((case.sanitizer_quantity, Quantity.PH, Quantity.TOTAL_ALKALINITY), Reason("know-before-balancing"))


def expected_after(case: Situation) -> tuple[Expectation, ...]:
    """What the changed water should read."""
    found = []
    for quantity in (q for q in _TOO_MUCH if q is not Quantity.CYANURIC_ACID or case.last_valid(q) is not None):
        low, median, high = np.quantile(case.observer.read(quantity), (0.05, 0.5, 0.95))
        found.append(Expectation(quantity, float(median), float(low), float(high)))
    return tuple(found)


def with_fill_water(case: Situation) -> Situation:
    """The situation with the tub full of water from the tap and nothing in it."""
    none = np.zeros(case.belief.size)
    bare = TubState(case.rates.fill, none, none, none + 0.5, none + 7.5)
    state = replace(bare, ph=Observer(bare).solved.ph)
    return replace(case, belief=replace(case.belief, state=state))
