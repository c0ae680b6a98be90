"""Taking over a tub whose water somebody else kept: keep it only on good evidence, otherwise begin anew."""

from __future__ import annotations

from dataclasses import replace

from tubwater.advice.in_use import plan_in_use
from tubwater.advice.now import Situation
from tubwater.advice.stops import must_test_first, plan_anew, shocked, stop_plan, stops
from tubwater.advice.wishes import Wishes
from tubwater.facts.situations import procedures
from tubwater.tub import Plan, Reason, Verdict, VerdictKind

__all__ = ["plan_unknown"]


def plan_unknown(case: Situation, verdict: Verdict, wishes: Wishes, seed: int) -> Plan:
    """Test before anything; good water is shocked, held overnight and read twice, any other is purged and changed."""
    kinds = {reason.kind for reason in verdict.reasons}
    if must_test_first(case, kinds) and not stops(kinds):
        return stop_plan(case, verdict, seed, "new-to-me")
    if stops(kinds) or _poor(case, verdict):
        found = procedures()["new-to-me"]
        return plan_anew(case, verdict, wishes, seed, found, found.steps)
    plan = shocked(case, plan_in_use(case, verdict, wishes, seed, shock=True))
    return replace(plan, situation="new-to-me", notes=(*plan.notes, Reason("history-unknown")))


def _poor(case: Situation, verdict: Verdict) -> bool:
    """The sanitizer was gone, or a reading says keep out."""
    reading = case.last_valid(case.sanitizer_quantity)
    low = case.limits(case.sanitizer_quantity).keep_out_low
    return verdict.kind is VerdictKind.KEEP_OUT or reading is None or min(case.standard(reading)) < low
