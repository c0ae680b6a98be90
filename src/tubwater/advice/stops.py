"""Plans where something is wrong before any dose: settle it, test first, let it fall, treat it, or begin anew."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np

from tubwater.advice.beside import Beside
from tubwater.advice.ending import fit_after_test, left_out
from tubwater.advice.fresh import plan_fresh
from tubwater.advice.in_use import plan_in_use
from tubwater.advice.now import Situation
from tubwater.advice.procedure import written
from tubwater.advice.too_high import reads_too_high
from tubwater.advice.troubles import rank, water_evidence
from tubwater.advice.wishes import Wishes
from tubwater.facts import Basis, BasisKind, defaults
from tubwater.facts.quantity import Quantity
from tubwater.facts.situations import Deed, Procedure, Then, procedures
from tubwater.tub import Clarity, Plan, Reason, Sign, Step, StepKind, Verdict, as_kept

__all__ = [
    "must_test_first",
    "plan_anew",
    "plan_stop",
    "plan_treatment",
    "settled_first",
    "shocked",
    "stop_plan",
    "stops",
]

_TAIL = 0.05
_SPILLED_ACID, _SPILLED_BASE = 5.0, 10.0  # pH that no dose of a plan leads to (judgement)
_TOLD_CAUSES, _LIKELY = 3, 0.1  # at most so many, each at least so likely (judgement)
_RANKED = Basis(BasisKind.COMMON_PRACTICE, (), "an order of likelihood, no more")


def stops(kinds: set[str]) -> bool:
    """Whether something has to be settled before anything may be added."""
    rows = [p for p in procedures().values() if p.then is not Then.TREAT]
    return any(p.reasons & kinds for p in rows) or "drain-not-visible" in kinds


def must_test_first(case: Situation, kinds: set[str]) -> bool:
    """Nothing is added where readings do not fit, a wait runs, the sanitizer has no valid reading, the colour of the
    pH says that there is more of it than was read, or what went in since the last test took the pH far out."""
    reading = case.last_valid(case.sanitizer_quantity)
    purple = Sign.PURPLE_INDICATOR in case.noticed.signs  # much sanitizer by its colour, whatever was read
    unread = reading is None or (purple and not reads_too_high(case))
    return unread or _spilled(case) or bool(kinds & {"readings-do-not-fit", "wait-running", "monopersulfate-window"})


def _spilled(case: Situation) -> bool:
    """The pH is believed far out of all bounds by what was added since it was read: a slip of the pen, or a spill."""
    low, high = np.quantile(case.state.ph, (_TAIL, 1.0 - _TAIL))
    reading, doses = case.last_valid(Quantity.PH), case.doses()
    unread = bool(doses) and (reading is None or reading.at <= doses[0].at)
    return unread and bool(high < _SPILLED_ACID or low > _SPILLED_BASE)


def stop_plan(case: Situation, verdict: Verdict, seed: int, situation: str) -> Plan:
    """Everybody out; the wait, and the test after it."""
    wait, bathing = _minutes_left(case), (case.sanitizer_quantity, Quantity.PH)
    doubted = tuple(q for name in case.suspects if (q := Quantity(name)) not in bathing)
    steps = [Step(StepKind.KEEP_OUT, reasons=verdict.reasons)]
    if wait > 0.0:
        steps.append(Step(StepKind.WAIT, minutes=as_kept(wait), reasons=(Reason("wait-it-out"),), covered=True))
    if case.clarity in (Clarity.CLOUDY, Clarity.HAZY):
        cloudy = procedures()["cloudy"]
        steps += written(case, cloudy, cloudy.steps, seed).steps
    asked = tuple(r for r in verdict.changes if r.kind == "test-again") or (Reason("test-tells-what-next"),)
    steps.append(Step(StepKind.TEST, minutes=2.0, quantities=(*bathing, *doubted), reasons=asked))
    return _nothing_added(case, verdict, seed, situation, steps)


def plan_stop(case: Situation, verdict: Verdict, seed: int, found: Procedure) -> Plan:
    """What has to be settled by others, or be said, before anything else."""
    told = written(case, found, found.steps, seed)
    plan = _nothing_added(case, verdict, seed, found.key, [_keep_out(verdict), *told.steps])
    again = max(case.now + timedelta(hours=found.again_hours), plan.next_visit)
    opened = replace(plan, fit_when=(fit_after_test(case, again),), next_visit=again, notes=told.notes, end=())
    return settled_first(opened, found)


def _nothing_added(case: Situation, verdict: Verdict, seed: int, situation: str, steps: list[Step]) -> Plan:
    timed = _in_turn(steps)
    again = case.now + timedelta(minutes=timed[-1].starts_at + timed[-1].minutes)
    return Plan(
        begins=case.now,
        situation=situation,
        verdict=verdict,
        steps=timed,
        after_soak=None,
        end=() if case.empty else Beside(case, seed=seed).expect(case.sanitizer_quantity, Quantity.PH),
        low_point=(),
        fit_when=(fit_after_test(case, again),),
        next_visit=again,
        outcome=None,
        refused=left_out(case),
        seed=seed,
        ensemble=case.belief.size,
    )


def plan_anew(
    case: Situation, verdict: Verdict, wishes: Wishes, seed: int, found: Procedure, deeds: tuple[Deed, ...]
) -> Plan:
    """The water goes as the procedure says, and fresh water is started; ``deeds``: what is left of its steps."""
    told = written(case, found, deeds, seed)
    buy = (Step(StepKind.BUY, reasons=(Reason("buy-before-it-begins"),)),) if told.shopping else ()
    plan = plan_fresh(case, verdict, wishes, seed, first=(*buy, *told.steps), situation=found.key)
    first = replace(plan.steps[0], reasons=(*verdict.reasons, *plan.steps[0].reasons))
    return settled_first(
        replace(
            plan,
            steps=(first, *plan.steps[1:]),
            notes=(*told.notes, *plan.notes),
            shopping=(*plan.shopping, *told.shopping),
        ),
        found,
    )


def settled_first(plan: Plan, found: Procedure) -> Plan:
    """The plan that says what has to be settled besides its tests."""
    settle = (Reason("settle-first"),) if found.reasons else ()
    opens = (*settle, *(Reason(kind, basis=found.basis) for kind in found.opens))
    return replace(plan, fit_when=(*opens, *plan.fit_when))


def plan_treatment(case: Situation, verdict: Verdict, wishes: Wishes, seed: int, found: Procedure) -> Plan:
    """Filter, and a shock sized from demand; what it was likely, and what to do where it does not help."""
    told = written(case, found, found.steps, seed)
    plan = shocked(case, plan_in_use(case, verdict, wishes, seed, shock=True))
    put = 1 if plan.steps and plan.steps[0].kind is StepKind.KEEP_OUT else 0
    later = sum(step.minutes for step in told.steps)
    rest = [replace(s, starts_at=s.starts_at + later) for s in plan.steps[put:]]
    treated = replace(
        plan,
        situation=found.key,
        steps=(*plan.steps[:put], *told.steps, *rest),
        notes=(*_causes(case, found.sign), *told.notes, *plan.notes),
        after_soak=None,
        low_point=(),
        outcome=None,
        better_tests=(),
    )
    return settled_first(treated, found)


def shocked(case: Situation, plan: Plan) -> Plan:
    """A shock that is given although the sanitizer was not read low says so."""
    reading = case.last_valid(case.sanitizer_quantity)
    if reading is None or case.middle(reading) < case.limits(case.sanitizer_quantity).keep_out_low:
        return plan
    goal = defaults()["shock_mg"]
    why = Reason("shock-it", {"value": goal.value, "quantity": str(case.sanitizer_quantity)}, goal.basis)
    return replace(plan, steps=tuple(_with_reason(s, "recover-sanitizer", why) for s in plan.steps))


def _with_reason(step: Step, kind: str, instead: Reason) -> Step:
    return replace(step, reasons=tuple(instead if r.kind == kind else r for r in step.reasons))


def _causes(case: Situation, sign: str) -> tuple[Reason, ...]:
    """What is likely behind it, the likeliest first, and the check that tells best."""
    if not sign:
        return ()
    ranking = rank([sign], water=water_evidence(case), most=_TOLD_CAUSES)
    likely = [c for c in ranking.causes if c.probability >= _LIKELY] or list(ranking.causes[:1])
    causes = [Reason("likely-cause", {"cause": c.cause, "probability": c.probability}, _RANKED) for c in likely]
    check = [Reason("check-tells", {"check": ranking.next_check}, _RANKED)] if ranking.next_check else []
    return (*causes, *check)


def _keep_out(verdict: Verdict) -> Step:
    return Step(StepKind.KEEP_OUT, reasons=verdict.reasons)


def _in_turn(steps: list[Step]) -> tuple[Step, ...]:
    """One after another."""
    starts = np.cumsum([0.0, *(step.minutes for step in steps)])
    return tuple(replace(step, starts_at=float(at)) for step, at in zip(steps, starts, strict=False))


def _minutes_left(case: Situation) -> float:
    mixing = max((case.wait_until - case.now).total_seconds() / 60.0, 0.0)
    return max(mixing, case.window_minutes_left)
