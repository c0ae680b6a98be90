"""Ways to keep a tub: the generic guide, and the project's own plans from what a keeper would log."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import numpy as np

from tubwater.advice import Situation, Wishes, judge, make_plan
from tubwater.facts import methods
from tubwater.facts.quantity import Quantity
from tubwater.services.advise import case_of
from tubwater.services.memory import MemorySnapshots
from tubwater.tub import Event, Plan, Reading, Step, StepKind, Tested, VerdictKind

from .keeping import SHELF, SUBSTANCES, Moment, when
from .orders import Order, Orders

__all__ = ["Guide", "Ours"]


class Guide:
    """Label doses by the litres on the plate, a fixed number of tablets, oxidizer once a week (common practice)."""

    def visit(self, moment: Moment) -> Orders:
        """Alkalinity first, then pH, then the weekly oxidizer; the feeder as always."""
        per = moment.scene.tub.litres / 1000.0
        seen = _newest(moment.events)
        tasks, clock = [], 5.0
        if seen["total alkalinity"] < 80.0:
            tasks.append(Order(clock, "sodium-bicarbonate", 1.7 * (100.0 - seen["total alkalinity"]) * per))
            clock += 20.0
        if seen["pH"] > 7.8:
            tasks.append(Order(clock, "sodium-bisulfate", 20.0 * per))
            clock += 20.0
        elif seen["pH"] < 7.2:
            tasks.append(Order(clock, "sodium-carbonate", 15.0 * per))
            clock += 20.0
        high = seen["bromine"] >= 10.0  # the top of the scale: floater out, no shock
        if int(moment.hour // 24) % 7 == 0 and not high:  # once a week, however often he tests
            tasks.append(Order(clock, "monopersulfate", 30.0 * per))
            clock += 20.0
        tablets = 0.0 if high else float(max(2, round(3.0 * per / 1.3)))
        tasks.append(Order(clock, tablets=tablets, opening=0.5))
        return Orders(tuple(tasks), minutes=clock + 15.0)

    def entry(self, moment: Moment, extra: Sequence[Event]) -> bool | None:
        """A guide gives no verdict."""
        return None

    def covers(self, moment: Moment, test: Tested) -> dict[str, bool]:
        """A guide believes nothing."""
        return {}


def _newest(events: Sequence[Event]) -> dict[str, float]:
    tests = [e for e in events if isinstance(e, Tested)]
    return {str(r.quantity): r.value for e in tests for r in e.readings}


class Ours:
    """Tubwater's plan and verdict from the growing logbook; what was lived once is not lived again."""

    def __init__(self) -> None:
        self._snapshots = MemorySnapshots()

    def case(self, moment: Moment, extra: Sequence[Event] = ()) -> Situation:
        """What is believed at the moment, with whatever was read at the tub besides."""
        events, choices = [*moment.events, *extra], moment.choices
        seed, kept = choices.seed, self._snapshots
        return case_of(moment.scene.tub, SHELF, events, when(moment.hour), seed, choices.members, kept)

    def visit(self, moment: Moment) -> Orders:
        """The plan, carried out step by step as it is printed."""
        return orders_of(make_plan(self.case(moment), Wishes(days=moment.days), moment.choices.seed))

    def entry(self, moment: Moment, extra: Sequence[Event]) -> bool | None:
        """``judge`` with whatever was read at the tub before getting in."""
        return judge(self.case(moment, extra)).kind is VerdictKind.FIT

    def covers(self, moment: Moment, test: Tested) -> dict[str, bool]:
        """Each reading against the 5 to 95 % of what the belief, with the method's error and steps, would have read."""
        case = self.case(moment)
        return {str(r.quantity): _inside(case, r, moment.choices.seed) for r in test.readings}


def _inside(case: Situation, reading: Reading, seed: int) -> bool:
    row = methods()[reading.method].quantities[reading.quantity]
    truth = case.observer.read(reading.quantity)
    if reading.quantity is Quantity.BROMINE:
        truth = truth + case.observer.monopersulfate
    rng = np.random.default_rng([seed, round(case.now.timestamp())])
    seen = truth + np.maximum(row.absolute, row.relative * truth) * rng.standard_normal(truth.shape)
    steps = np.asarray(row.steps) if row.steps else np.arange(row.low, row.high + row.resolution, row.resolution)
    printed = steps[np.argmin(np.abs(seen[:, None] - steps), axis=1)]
    rank = np.mean(printed < reading.value) + rng.random() * np.mean(np.isclose(printed, reading.value))
    return bool(0.05 <= rank <= 0.95)


def orders_of(plan: Plan) -> Orders:
    """A plan as orders to the keeper's hands."""
    tasks, beside = [], _beside(plan)
    for step in beside:
        if step.kind is StepKind.DOSE and step.amount is not None:
            tasks.append(Order(step.starts_at, SUBSTANCES[step.amount.product], step.amount.grams))
        if step.kind is StepKind.DRAIN:
            tasks.append(Order(step.starts_at, litres=step.litres))
        if step.kind is StepKind.SET_FEEDER:
            tasks.append(Order(step.starts_at, tablets=step.tablets, opening=step.opening))
    retest = None
    if plan.situation in ("test-first", "keep-out"):
        waits = [s.minutes for s in plan.steps if s.kind is StepKind.WAIT]
        retest = sum(waits) + 5.0
    minutes = max((s.starts_at + s.minutes for s in beside), default=10.0)
    rule = plan.after_soak
    return Orders(
        tuple(tasks),
        minutes,
        rule.amount.grams if rule else 0.0,
        rule.daily_cap_grams if rule else 1e9,
        retest,
        (plan.next_visit - plan.begins).total_seconds() / 3600.0,
        _note(plan),
        _chores(plan),
    )


def _beside(plan: Plan) -> tuple[Step, ...]:
    """The steps beside the open tub: up to the first wait under the cover."""
    waits = (n for n, s in enumerate(plan.steps) if s.kind is StepKind.WAIT and s.covered)
    return plan.steps[: next(waits, None)]


def _chores(plan: Plan) -> tuple[Order, ...]:
    """The tablets that go back into the feeder once too much has fallen, by the clock where nobody tests."""
    found = [r.values for r in plan.notes if r.kind == "tablets-back-in"]
    return tuple(
        Order(
            (datetime.fromisoformat(str(v["time"])) - plan.begins).total_seconds() / 60.0,
            tablets=float(v["count"]),
            opening=float(v["opening"]),
        )
        for v in found
    )


def _note(plan: Plan) -> str:
    reasons = ",".join(r.kind for r in plan.verdict.reasons)
    text = f"plan {plan.situation}, {plan.verdict.kind}: {reasons}"
    if plan.outcome is not None:
        o = plan.outcome
        shares = " ".join(f"{q}:{v:.2f}" for q, v in o.band_by_quantity.items())
        text += f"; expects in band {o.in_band:.2f} (without {o.in_band_without_plan:.2f}) {shares}"
        text += f" below {o.below_limit:.2f} above {o.above_limit:.2f}"
    if plan.end:
        text += "; end " + ", ".join(f"{e.quantity} {e.median:.2f} ({e.low:.2f}-{e.high:.2f})" for e in plan.end)
    if plan.low_point:
        text += "; lowest " + ", ".join(f"{e.median:.2f} ({e.low:.2f}-{e.high:.2f})" for e in plan.low_point)
    if plan.after_soak:
        text += f"; after soak {plan.after_soak.amount.grams:g} g per person-half-hour"
    return text
