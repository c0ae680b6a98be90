"""Keep out, wait, test: the plan that adds nothing."""

from __future__ import annotations

from datetime import timedelta

from tubwater.advice.beside import Beside
from tubwater.advice.ending import fit_after_test, left_out
from tubwater.advice.now import Situation
from tubwater.facts.quantity import Quantity
from tubwater.tub import Plan, Reason, Step, StepKind, Verdict

__all__ = ["must_test_first", "stop_plan", "stops"]

_STOPS = {
    *("contamination", "drain-not-visible", "long-lapse", "sign-slime", "sign-suction-cover-missing"),
    *("sign-pump-failed", "sign-protective-device-tripped"),
}
_CALLS = {"sign-suction-cover-missing", "sign-pump-failed", "sign-protective-device-tripped"}


def stops(kinds: set[str]) -> bool:
    """Whether something has to be settled before anything may be added."""
    return bool(kinds & _STOPS)


def must_test_first(case: Situation, kinds: set[str]) -> bool:
    """Nothing is added where readings do not fit, a wait runs, or the sanitizer has no valid reading."""
    unread = case.last_valid(case.sanitizer_quantity) is None
    return unread or bool(kinds & {"readings-do-not-fit", "wait-running", "monopersulfate-window"})


def stop_plan(case: Situation, verdict: Verdict, seed: int, situation: str) -> Plan:
    """Everybody out; what has to be settled, the wait, and the test after it."""
    wait = _minutes_left(case)
    bathing = (case.sanitizer_quantity, Quantity.PH)
    doubted = tuple(q for name in case.suspects if (q := Quantity(name)) not in bathing)
    quantities = (*bathing, *doubted)
    steps = [Step(StepKind.KEEP_OUT, reasons=verdict.reasons)]
    if {r.kind for r in verdict.reasons} & _CALLS:
        steps.append(Step(StepKind.CALL, reasons=(Reason("repair-first"),), cautions=("electric-off",)))
    if wait > 0.0:
        steps.append(Step(StepKind.WAIT, minutes=wait, reasons=(Reason("wait-it-out"),), covered=True))
    steps.append(Step(StepKind.TEST, minutes=2.0, quantities=quantities, reasons=verdict.changes, starts_at=wait))
    again = case.now + timedelta(minutes=wait + 2.0)
    settled = (Reason("settle-first"),) if stops({r.kind for r in verdict.reasons}) else ()
    return Plan(
        begins=case.now,
        situation=situation,
        verdict=verdict,
        steps=tuple(steps),
        after_soak=None,
        end=Beside(case, seed=seed).expect(*quantities),
        low_point=(),
        fit_when=(*settled, fit_after_test(case, again)),
        next_visit=again,
        outcome=None,
        refused=left_out(case),
        seed=seed,
        ensemble=case.belief.size,
    )


def _minutes_left(case: Situation) -> float:
    mixing = max((case.wait_until - case.now).total_seconds() / 60.0, 0.0)
    return max(mixing, case.monopersulfate_minutes) if case.in_monopersulfate_window else mixing
