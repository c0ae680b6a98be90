"""Why everybody stays out of a tub that a plan works on."""

from __future__ import annotations

from tubwater.tub import Reason, Step, StepKind, Verdict, VerdictKind

__all__ = ["kept_out", "out_because"]


def out_because(verdict: Verdict) -> tuple[Reason, ...]:
    """What the verdict says against it; of a tub that is fit it says nothing."""
    return () if verdict.kind is VerdictKind.FIT else verdict.reasons


def kept_out(verdict: Verdict, *more: Reason) -> Step:
    """Everybody out, for what the verdict says and for more."""
    return Step(StepKind.KEEP_OUT, reasons=(*out_because(verdict), *more))
