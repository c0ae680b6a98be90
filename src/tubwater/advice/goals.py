"""The same planner with narrower goals, or as if something had been noticed: what a purpose says as data.

Where the water ends up against the air follows from its alkalinity (open equilibrium with carbon dioxide).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tubwater.advice.drains import with_fill_water
from tubwater.advice.now import Situation
from tubwater.advice.plans import usual_plan
from tubwater.advice.replay import replayed
from tubwater.advice.verdict import judge
from tubwater.advice.wishes import About, Wishes
from tubwater.belief import Observer
from tubwater.chemistry import INDEX, KG_PER_LITRE, MG_PER_EQ_CACO3, MG_PER_MOL, at_pco2, equilibrate
from tubwater.facts import Basis, BasisKind, Limits, Role, substances
from tubwater.facts.purposes import Purpose
from tubwater.facts.quantity import Quantity
from tubwater.tub import Clarity, Noticed, Plan, Reason, Sign, Verdict

__all__ = ["plan_with_goals", "plan_with_signs", "within"]

Array = NDArray[np.float64]
_BORATE_MG = 50.0  # mg/L as B, at which it steadies the pH (common practice)
_EQUILIBRIUM = Basis(
    BasisKind.CALCULATION, (), "saturation by activities, and equilibrium with the carbon dioxide of air"
)
_PRACTICE = Basis(BasisKind.COMMON_PRACTICE)


def plan_with_goals(
    case: Situation, verdict: Verdict, wishes: Wishes, seed: int, purpose: Purpose, about: About
) -> Plan:
    """The usual planner with the aims of the purpose, inside the bathing limits."""
    limits = {quantity: within(case.limits(quantity), *aim) for quantity, aim in purpose.aims.items()}
    guideline = replace(case.guideline, limits={**case.guideline.limits, **limits})
    narrowed = replace(case, guideline=guideline)
    plan = usual_plan(narrowed, wishes, seed, verdict)
    if plan.situation != "in-use":
        return replace(plan, notes=(Reason("water-first"), *plan.notes))
    told = tuple(reason for kind in purpose.notes for reason in _told(kind, case, plan, purpose, seed))
    return replace(plan, situation=purpose.key, notes=(*told, *_not_twice(plan.notes, told)))


def plan_with_signs(
    case: Situation, verdict: Verdict, wishes: Wishes, seed: int, purpose: Purpose, about: About
) -> Plan:
    """The plan as if the signs of the purpose had been noted now."""
    look = case.noticed
    clarity = Clarity(purpose.clarity) if purpose.clarity else look.clarity
    signs = look.signs | {Sign(sign) for sign in purpose.signs}
    hours = about.hours if about.hours is not None else _usual(purpose, "hours")
    seen = Noticed(case.now, clarity, signs, look.lapse_hours if hours is None else hours, look.unlogged_soak)
    older = (e for e in case.belief.events if not (isinstance(e, Noticed) and e.at >= case.now))
    supposed = replace(case, belief=replace(case.belief, events=(*older, seen)))
    plan = usual_plan(supposed, wishes, seed, judge(supposed))
    return replace(plan, notes=(Reason("note-it-too"), *plan.notes))


def within(limits: Limits, low: float, high: float) -> Limits:
    """Limits with narrower aims, as far as people may bathe there; as they were where nothing of it is left."""
    low, high = max(low, limits.bathing_low), min(high, limits.bathing_high)
    return replace(limits, aim_low=low, aim_high=high) if low < high else limits


def _not_twice(notes: Sequence[Reason], told: Sequence[Reason]) -> tuple[Reason, ...]:
    """Without what an ordinary plan says of lime, where the index is told with it."""
    index = any(reason.kind == "index-now-and-then" for reason in told)
    return tuple(note for note in notes if not (index and note.kind in ("lays-down-lime", "takes-lime")))


def _usual(purpose: Purpose, name: str) -> float | None:
    return purpose.asks[name].usual if name in purpose.asks else None


def _told(kind: str, case: Situation, plan: Plan, purpose: Purpose, seed: int) -> tuple[Reason, ...]:
    """What a kind of note says in numbers; one without numbers is told as it is."""
    if kind == "index-now-and-then":
        return (_index(case, plan, seed),)
    if kind == "ceiling":
        return _ceiling(case, purpose)
    if kind == "borate-steadies":
        return _borate(case)
    if kind == "fill-brings":
        return (_fill(case),)
    return (Reason(kind, basis=purpose.basis),)


def _index(case: Situation, plan: Plan, seed: int) -> Reason:
    """The saturation index now and at the end of the plan."""
    after = Observer(replayed(case, plan, seed).state).solved.si_calcite
    now = case.observer.solved.si_calcite
    values: dict[str, float | str] = {"now": _middle(now), "then": _middle(after)}
    return Reason("index-now-and-then", values, _EQUILIBRIUM)


def _ceiling(case: Situation, purpose: Purpose) -> tuple[Reason, ...]:
    """To where the pH climbs by itself, with the alkalinity as it is and as it is aimed at."""
    water, air = case.state.water, case.rates.air_pco2
    goal = purpose.aims[Quantity.TOTAL_ALKALINITY][1]
    now = case.observer.read(Quantity.TOTAL_ALKALINITY)
    if _middle(now) <= goal:
        return ()
    off = np.maximum(now - goal, 0.0) / (1000.0 * MG_PER_EQ_CACO3 * KG_PER_LITRE)
    lowered = water.plus(chloride=off)
    values: dict[str, float | str] = {"value": _middle(now), "goal": goal}
    values |= {
        "top": _middle(equilibrate(at_pco2(water, air)).ph),
        "then": _middle(equilibrate(at_pco2(lowered, air)).ph),
    }
    return (Reason("ceiling", values, _EQUILIBRIUM),)


def _borate(case: Situation) -> tuple[Reason, ...]:
    """Grams of borate that slow the climb, from the product in hand or boric acid."""
    product = next((p for p in case.shelf.products if Role.BORATE_BUFFER in substances()[p.substance].roles), None)
    substance = substances()[product.substance if product else "boric-acid"]
    recipe = substance.composition.scaled((product.strength if product else None) or substance.strength[1])
    per_gram = float(recipe.per_gram[INDEX["borate"]]) * MG_PER_MOL["borate"]
    missing = max(_BORATE_MG - _middle(case.observer.read(Quantity.BORATE)), 0.0)
    if missing <= 0.1 * _BORATE_MG:
        return ()
    grams = missing * float(np.median(case.rates.litres)) / 1000.0 / per_gram
    values: dict[str, float | str] = {"grams": grams, "product": product.name if product else substance.name}
    return (Reason("borate-steadies", {**values, "value": _BORATE_MG}, _PRACTICE),)


def _fill(case: Situation) -> Reason:
    """What the water that makes up for losses brings with it."""
    fresh = with_fill_water(case).observer
    quantities: Mapping[str, Quantity] = {
        "alkalinity": Quantity.TOTAL_ALKALINITY,
        "hardness": Quantity.CALCIUM_HARDNESS,
        "ph": Quantity.PH,
    }
    return Reason("fill-brings", {name: _middle(fresh.read(q)) for name, q in quantities.items()}, _EQUILIBRIUM)


def _middle(values: Array) -> float:
    return float(np.median(values))
