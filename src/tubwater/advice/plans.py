"""Which plan for the usual visit: one question, asked of the situation, decides which of the planners answers."""

from __future__ import annotations

from dataclasses import replace

from tubwater.advice.fresh import just_filled, plan_fresh
from tubwater.advice.in_use import plan_in_use
from tubwater.advice.now import Situation
from tubwater.advice.opening import with_opening_test
from tubwater.advice.procedure import procedure_for, still_to_do
from tubwater.advice.stops import must_test_first, plan_anew, plan_stop, plan_treatment, settled_first, stop_plan
from tubwater.advice.too_high import plan_too_high, reads_bleached, reads_too_high
from tubwater.advice.unknown import plan_unknown
from tubwater.advice.verdict import judge
from tubwater.advice.wishes import Occasion, Wishes
from tubwater.facts.quantity import Quantity
from tubwater.facts.situations import Procedure, Then
from tubwater.tub import Plan, Reason, Sign, Verdict

__all__ = ["usual_plan"]

_WAITS = {"wait-running", "monopersulfate-window"}


def usual_plan(case: Situation, wishes: Wishes, seed: int = 0, verdict: Verdict | None = None) -> Plan:
    """A plan a person can carry out: steps in order, the dose after a soak, when people may get in.

    Args:
        verdict: on the tub as it is, where ``case`` supposes something else of the coming days.
    """
    verdict = judge(case) if verdict is None else verdict
    found = procedure_for(case, {reason.kind for reason in verdict.reasons})
    plan = with_opening_test(_plan(case, verdict, found, wishes, seed), case, wishes, found)
    return replace(plan, fit_when=(Reason("closure-lifted"), *plan.fit_when)) if Sign.CLOSED in case.signs else plan


def _plan(case: Situation, verdict: Verdict, found: Procedure | None, wishes: Wishes, seed: int) -> Plan:
    """What others have to settle comes first, then water that goes or is new, then the water that stays."""
    if found is not None and found.then is Then.STOP:
        return plan_stop(case, verdict, seed, found)
    if found is not None and found.then is Then.FRESH:
        left = still_to_do(case, found)
        if left:
            return plan_anew(case, verdict, wishes, seed, found, left)
        return settled_first(_of_water(case, verdict, None, wishes, seed), found)
    return _of_water(case, verdict, found, wishes, seed)


def _of_water(case: Situation, verdict: Verdict, found: Procedure | None, wishes: Wishes, seed: int) -> Plan:
    """Fresh water, unknown water, or the water that is in."""
    if wishes.occasion is Occasion.FRESH_WATER or case.empty or just_filled(case):
        return plan_fresh(case, verdict, wishes, seed)
    if wishes.occasion is Occasion.UNKNOWN_HISTORY:
        return plan_unknown(case, verdict, wishes, seed)
    return _of_present_water(case, verdict, found, wishes, seed)


def _of_present_water(case: Situation, verdict: Verdict, found: Procedure | None, wishes: Wishes, seed: int) -> Plan:
    treats = found is not None and found.then is Then.TREAT
    unread = treats and case.last_valid(Quantity.PH) is None and not reads_too_high(case)
    kinds = {reason.kind for reason in verdict.reasons}
    if reads_bleached(case) and not kinds & _WAITS:
        return plan_too_high(case, verdict, wishes, seed)
    if unread or must_test_first(case, kinds):
        return stop_plan(case, verdict, seed, "test-first")
    if reads_too_high(case):
        return plan_too_high(case, verdict, wishes, seed)
    if found is not None and treats:
        return plan_treatment(case, verdict, wishes, seed, found)
    return plan_in_use(case, verdict, wishes, seed)
