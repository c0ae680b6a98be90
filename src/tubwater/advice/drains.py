"""What only water can remove: how many litres to change, with this fill water's own make-up."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tubwater.advice.heating import reheat_minutes
from tubwater.advice.now import Situation
from tubwater.belief import Observer
from tubwater.dynamics import Mode, TubState, advance, refill
from tubwater.facts import defaults
from tubwater.facts.quantity import Quantity
from tubwater.tub import Expectation, Reason

__all__ = ["Change", "after_change", "change_needed", "expected_after", "with_fill_water"]

_TOO_MUCH = {  # times the upper aim (judgement)
    Quantity.TOTAL_ALKALINITY: 2.0,
    Quantity.CALCIUM_HARDNESS: 1.6,
    Quantity.CYANURIC_ACID: 2.0,
}
_SURE = 0.7  # a read value may still be a blunder (judgement)
_LEAST = 0.1  # of the water; less is not worth the hose


@dataclass(frozen=True)
class Change:
    """A partial drain: share and litres of the water, why, and whether it would take more than one."""

    share: float
    litres: float
    reason: Reason
    whole: bool


def change_needed(case: Situation) -> Change | None:
    """The largest partial drain that a quantity asks for, or None; only a read quantity counts."""
    found = [c for quantity in _TOO_MUCH if (c := _change(case, quantity)) is not None]
    return max(found, key=lambda c: c.share) if found else None


def _change(case: Situation, quantity: Quantity) -> Change | None:
    if case.last_valid(quantity) is None:
        return None
    aim = case.limits(quantity).aim_high
    present = case.observer.read(quantity)
    if float(np.mean(present > _TOO_MUCH[quantity] * aim)) < _SURE:
        return None
    fresh = Observer(replace(case.state, water=case.rates.fill)).read(quantity)
    room = np.maximum(present - fresh, 1e-9)
    wanted = float(np.median((present - aim) / room))
    if float(np.median(fresh)) >= 0.8 * float(np.median(present)) or wanted < _LEAST:
        return None
    most = defaults()["drain_share_most"].value
    share = min(wanted, most)
    values: dict[str, float | str] = {"quantity": str(quantity), "value": float(np.median(present)), "high": aim}
    litres = round(share * float(np.median(case.rates.litres)) / 10.0) * 10.0
    return Change(share, litres, Reason("only-water-helps", values, case.limits(quantity).basis), wanted > most)


def after_change(case: Situation, litres: float) -> Situation:
    """The situation once ``litres`` were let out and replaced by fill water, warm again after hours under the cover."""
    state = refill(case.state, case.rates, litres / case.rates.litres)
    hours = reheat_minutes(case.tub, litres) / 60.0
    if hours > 0.0:
        state = advance(state, case.rates, hours, Mode.COVERED, case.products.tablet)
    solved = replace(state, ph=Observer(state).solved.ph)
    return replace(case, belief=replace(case.belief, state=solved))


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
