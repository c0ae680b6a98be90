"""Which plan: one question, asked of the situation, decides which of the planners answers."""

from __future__ import annotations

from tubwater.advice.fresh import just_filled, plan_fresh
from tubwater.advice.in_use import plan_in_use
from tubwater.advice.now import Situation
from tubwater.advice.stops import must_test_first, stop_plan, stops
from tubwater.advice.unknown import plan_unknown
from tubwater.advice.verdict import judge
from tubwater.advice.wishes import Occasion, Wishes
from tubwater.tub import Plan

__all__ = ["make_plan"]


def make_plan(case: Situation, wishes: Wishes, seed: int = 0) -> Plan:
    """A plan a person can carry out: steps in order, the dose after a soak, when people may get in."""
    verdict = judge(case)
    kinds = {reason.kind for reason in verdict.reasons}
    if wishes.occasion is Occasion.UNKNOWN_HISTORY:
        return plan_unknown(case, verdict, wishes, seed)
    if wishes.occasion is Occasion.FRESH_WATER or (just_filled(case) and not stops(kinds)):
        return plan_fresh(case, verdict, wishes, seed)
    if stops(kinds):
        return stop_plan(case, verdict, seed, "keep-out")
    if must_test_first(case, kinds):
        return stop_plan(case, verdict, seed, "test-first")
    return plan_in_use(case, verdict, wishes, seed)
