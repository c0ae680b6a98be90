"""What plans that work on a tub by themselves share: why everybody stays out, and how they end."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta

from tubwater.advice.ending import fit_after_test, left_out
from tubwater.advice.timeline import Timeline
from tubwater.facts.purposes import Purpose
from tubwater.facts.quantity import Quantity
from tubwater.tub import Plan, Reason, Step, StepKind, Verdict, VerdictKind

__all__ = ["closed", "kept_out", "out_because"]


def out_because(verdict: Verdict) -> tuple[Reason, ...]:
    """What the verdict says against it; of a tub that is fit it says nothing."""
    return () if verdict.kind is VerdictKind.FIT else verdict.reasons


def kept_out(verdict: Verdict, *more: Reason) -> Step:
    """Everybody out, for what the verdict says and for more."""
    return Step(StepKind.KEEP_OUT, reasons=(*out_because(verdict), *more))


def closed(
    line: Timeline, verdict: Verdict, purpose: Purpose, notes: Iterable[Reason], shopping: tuple[Reason, ...] = ()
) -> Plan:
    """The plan of a timeline that ends in a test: it opens the tub, and somebody is back for it."""
    case, again = line.case, line.case.now + timedelta(minutes=line.clock)
    return Plan(
        begins=case.now,
        situation=purpose.key,
        verdict=verdict,
        steps=tuple(line.steps),
        after_soak=None,
        end=line.beside.expect(case.sanitizer_quantity, Quantity.PH),
        low_point=(),
        fit_when=(fit_after_test(case, again),),
        next_visit=again,
        outcome=None,
        notes=tuple(notes),
        refused=left_out(case),
        shopping=shopping,
        seed=line.seed,
        ensemble=case.belief.size,
    )
