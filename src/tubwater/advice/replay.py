"""The believed tubs carried through the steps of a plan, so that another part of it can go on from its end."""

from __future__ import annotations

from tubwater.advice.beside import Beside
from tubwater.advice.measures import measure_spread
from tubwater.advice.now import Situation
from tubwater.belief import fed
from tubwater.dynamics import TubState
from tubwater.tub import Plan, Step, StepKind

__all__ = ["ends_at", "replayed"]

_LASTS = {StepKind.WAIT, StepKind.VENT, StepKind.HEAT}


def replayed(case: Situation, plan: Plan, seed: int) -> Beside:
    """The tubs at the end of the plan's last step, of a plan that changes part of the water at most; what people hand
    over or care for moves nothing."""
    beside, clock = Beside(case, seed=seed), 0.0
    for step in plan.steps:
        if step.task or step.by:
            continue
        if step.starts_at > clock:
            beside.state = beside.later(beside.state, step.starts_at - clock)
        beside.state = _after(case, beside, step)
        clock = step.starts_at + (step.minutes if step.kind in _LASTS else 0.0)
    return beside


def ends_at(plan: Plan) -> float:
    """Minutes from the plan's begin to its end."""
    return max((step.starts_at + step.minutes for step in plan.steps if not step.by), default=0.0)


def _after(case: Situation, beside: Beside, step: Step) -> TubState:
    if step.kind in _LASTS:
        return beside.later(beside.state, step.minutes, step.covered or step.kind is StepKind.HEAT)
    if step.kind is StepKind.DRAIN:
        return beside.refilled(step.litres)
    if step.kind is StepKind.SET_FEEDER:
        return fed(beside.state, step.tablets, step.opening, case.products.tablet_grams)
    if step.kind is StepKind.DOSE and step.amount is not None:
        product = next(p for p in case.shelf.products if p.name == step.amount.product)
        composition = case.products.compositions[product.name]
        return beside.dosed(composition, step.amount.grams, measure_spread(product))
    return beside.state
