"""Taking over a tub whose water somebody else kept: keep it only on good evidence, otherwise begin anew."""

from __future__ import annotations

from dataclasses import replace

from tubwater.advice.fresh import plan_fresh
from tubwater.advice.heating import hose_minutes
from tubwater.advice.in_use import plan_in_use
from tubwater.advice.now import Situation
from tubwater.advice.stops import must_test_first, stop_plan, stops
from tubwater.advice.wishes import Wishes
from tubwater.facts import care_steps
from tubwater.tub import Plan, Reason, Step, StepKind, Verdict, VerdictKind

__all__ = ["plan_unknown"]

_LOOK_AT = ("inspect-suction-covers", "test-protective-device")


def plan_unknown(case: Situation, verdict: Verdict, wishes: Wishes, seed: int) -> Plan:
    """Test before anything; good water is shocked, held overnight and read twice, any other is purged and changed."""
    kinds = {reason.kind for reason in verdict.reasons}
    if must_test_first(case, kinds) and not stops(kinds):
        return stop_plan(case, verdict, seed, "new-to-me")
    if stops(kinds) or _poor(case, verdict):
        return plan_fresh(case, verdict, wishes, seed, first=_emptied(case), situation="new-to-me")
    plan = plan_in_use(case, verdict, wishes, seed, shock=True)
    return _named(plan)


def _named(plan: Plan) -> Plan:
    return replace(plan, situation="new-to-me", notes=(*plan.notes, Reason("history-unknown")))


def _poor(case: Situation, verdict: Verdict) -> bool:
    """The sanitizer was gone, or a reading says keep out."""
    reading = case.last_valid(case.sanitizer_quantity)
    low = case.limits(case.sanitizer_quantity).keep_out_low
    return verdict.kind is VerdictKind.KEEP_OUT or reading is None or min(case.standard(reading)) < low


def _emptied(case: Situation) -> tuple[Step, ...]:
    """Look at what can hurt, purge the pipes, empty the tub and scrub it."""
    tasks = care_steps()
    looks = [Step(StepKind.CHECK, minutes=tasks[k].minutes, task=k, reasons=_due(k)) for k in _LOOK_AT]
    purge = Step(
        StepKind.CHECK, minutes=tasks["purge-pipes"].minutes, task="purge-pipes", reasons=(Reason("purge-first"),)
    )
    litres = case.tub.litres
    drain = Step(
        StepKind.DRAIN,
        minutes=hose_minutes(litres),
        litres=litres,
        reasons=(Reason("history-unknown"),),
        cautions=("electric-off", "drain-where-allowed"),
    )
    clean = Step(StepKind.CLEAN, minutes=30.0, cautions=("electric-off",), reasons=(Reason("scrub-empty"),))
    return (*looks, *([purge] if case.tub.equipment.pump else []), drain, clean)


def _due(key: str) -> tuple[Reason, ...]:
    task = care_steps()[key]
    return (Reason("care-due", {"days": task.interval_days}, task.basis),)
