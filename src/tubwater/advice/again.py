"""The rest of a visit planned anew: after another amount, a missing product, a step left out, or a test.

The planner is the same as ever; what this visit has done already, or does without, is taken from what it may use.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

import numpy as np

from tubwater.advice.beside_tub import Running, Standing, VisitEvent, What
from tubwater.advice.now import Situation, substance_of
from tubwater.advice.purposes import make_plan
from tubwater.advice.stops import stop_plan
from tubwater.advice.verdict import judge
from tubwater.advice.wishes import Wishes
from tubwater.facts import Role, substances
from tubwater.facts.quantity import Quantity
from tubwater.tub import Plan, Product, Reason, Shelf, Step, StepKind, as_kept

__all__ = ["plan_rest", "why_again"]

_ONCE = {StepKind.KEEP_OUT, StepKind.PREPARE, StepKind.CLEAN, StepKind.SET_FEEDER, StepKind.FILL, StepKind.HEAT}
_AFTER_DRAINING = {StepKind.FILL, StepKind.HEAT}
_WHY = {
    What.DONE: "replanned-late",
    What.NOT_IN_HAND: "replanned-missing",
    What.NOT_SURE: "replanned-not-sure",
    What.SKIPPED: "replanned-skipped",
}
_SHOCKS = {Role.OXIDIZER, Role.CHLORINE_DOSE}


def plan_rest(case: Situation, state: Running, after: VisitEvent, wishes: Wishes, now: datetime) -> Plan:
    """What is left to do.

    Args:
        case: the situation when the running wait is over, with everything that went in.
        state: the visit at ``now``. after: what changed the rest.
    """
    if after.what is What.NOT_SURE:
        return _laid_out(stop_plan(case, judge(case), 0, "test-first"), case, state, now)
    limited = replace(case, shelf=_usable(case, state))
    plan = make_plan(limited, _time_left(wishes, state, now))
    reacts = case.in_monopersulfate_window and after.what is not What.RETEST
    if plan.situation == "test-first" and reacts:
        plan = replace(plan, steps=_without_doses(state))  # nothing more goes in; what closes the visit stays
    return _laid_out(_with_note(plan, state), case, state, now)


def why_again(case: Situation, state: Running, after: VisitEvent) -> tuple[Reason, ...]:
    """Why the rest was planned anew."""
    row = state.of(after.step)
    if after.what is What.RETEST:
        return _compared(case, row)
    if row is None or row.step.amount is None:
        return (Reason("replanned-test-skipped"),)
    amount = row.step.amount
    values: dict[str, float | str] = {"product": amount.product}
    if after.what is What.OTHER_AMOUNT:
        return (Reason("replanned-amount", {**values, "grams": after.grams, "planned": amount.grams}),)
    return (Reason(_WHY[after.what], values),)


def _compared(case: Situation, row: Standing | None) -> tuple[Reason, ...]:
    """What the newest test read beside what was expected."""
    expected = {e.quantity: e for e in row.step.expected} if row else {}
    found = []
    for quantity in (case.sanitizer_quantity, Quantity.PH):
        reading = next(iter(case.readings(quantity)), None)
        if reading is None or (expected and quantity not in expected):
            continue
        values: dict[str, float | str] = {"quantity": str(quantity), **case.told(reading)}
        if quantity in expected:
            values |= {"low": expected[quantity].low, "high": expected[quantity].high}
        found.append(Reason("replanned-retest", values))
    return tuple(found)


def _time_left(wishes: Wishes, state: Running, now: datetime) -> Wishes:
    if wishes.minutes is None:
        return wishes
    spent = (now - state.begun).total_seconds() / 60.0
    return replace(wishes, minutes=max(wishes.minutes - spent, 1.0))


def _usable(case: Situation, state: Running) -> Shelf:
    """The products that the rest of this visit may use: in hand, no second oxidizer unread, no acid against base."""
    banned = _banned(case, state)
    return Shelf(tuple(p for p in case.shelf.products if p.name not in state.missing and not _roles(p) & banned))


def _banned(case: Situation, state: Running) -> set[Role]:
    added = {role: a.at for a in state.added for role in substances()[a.substance].roles}
    limits, ph = case.limits(Quantity.PH), float(np.median(case.state.ph))
    banned: set[Role] = set()
    if Role.LOWER_PH in added and ph >= limits.bathing_low:
        banned.add(Role.RAISE_PH)
    if Role.RAISE_PH in added and ph <= limits.bathing_high:
        banned.add(Role.LOWER_PH)
    read_ph = next((case.standard(r) for r in case.readings(Quantity.PH)[:1]), None)
    if read_ph and min(read_ph) < limits.aim_low:
        banned.add(Role.LOWER_PH)  # the worse of test and belief counts: no acid on a low reading, no base on a high
    if read_ph and max(read_ph) > limits.aim_high:
        banned.add(Role.RAISE_PH)
    shocked = [at for role, at in added.items() if role in _SHOCKS]
    read = next(iter(case.readings(case.sanitizer_quantity)), None)
    if shocked and (read is None or read.at <= max(shocked)):
        banned |= _SHOCKS
    return banned | ({Role.BROMIDE_BANK} & set(added))


def _roles(product: Product) -> frozenset[Role]:
    return substance_of(product).roles


def _without_doses(state: Running) -> tuple[Step, ...]:
    """The open steps of the present plan that add nothing to the water by hand."""
    adding = (StepKind.DOSE, StepKind.TEST, StepKind.WAIT)
    return tuple(s.step for s in state.steps if not s.answered and s.step.kind not in adding and not s.step.task)


def _with_note(plan: Plan, state: Running) -> Plan:
    """Acid and base at one visit are only right where the plan says why."""
    roles = [r for a in state.added for r in substances()[a.substance].roles]
    ahead = [r for s in plan.steps if s.amount for r in substances()[s.amount.substance].roles]
    both = {Role.LOWER_PH, Role.RAISE_PH}
    if both <= {*roles, *ahead} and both & set(ahead):
        return replace(plan, notes=(*plan.notes, Reason("acid-and-base-needed")))
    return plan


def _laid_out(plan: Plan, case: Situation, state: Running, now: datetime) -> Plan:
    """The plan from ``now`` on: the running wait first, then what was not done before, timed anew."""
    done = {s.step.kind for s in state.steps if s.answered} & _ONCE
    done |= {StepKind.KEEP_OUT} if StepKind.PREPARE in done else set()
    steps = _still_to_do(plan.steps, done)
    lead = (case.now - now).total_seconds() / 60.0
    if lead > 0.0:
        steps.insert(0, Step(StepKind.WAIT, minutes=as_kept(lead), reasons=(Reason("mix-first"),)))
    return replace(plan, begins=now, steps=_timed(steps))


def _still_to_do(steps: Sequence[Step], done: set[StepKind]) -> list[Step]:
    """Without what this visit has done once; what is let out again has to be filled and heated again."""
    let_out = next((n for n, s in enumerate(steps) if s.kind is StepKind.DRAIN), len(steps))
    return [s for n, s in enumerate(steps) if s.kind not in done or (n > let_out and s.kind in _AFTER_DRAINING)]


def _timed(steps: Sequence[Step]) -> tuple[Step, ...]:
    clock, inside = 0.0, 0.0
    found: list[Step] = []
    for step in steps:
        fills = step.kind is StepKind.CHECK and bool(step.task) and any(s.kind is StepKind.WAIT for s in found)
        found.append(replace(step, starts_at=inside if fills else clock))
        if fills:
            inside += step.minutes
        else:
            inside = clock
            clock += step.minutes
    return tuple(found)
