"""Too much sanitizer: nothing goes in, the feeder is closed, and a test comes when it will likely have fallen."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np

from tubwater.advice.decide import kit_of
from tubwater.advice.ending import fit_after_test, left_out
from tubwater.advice.feeder import close_feeder
from tubwater.advice.now import Situation
from tubwater.advice.timeline import Timeline
from tubwater.dynamics import Mode, advance
from tubwater.facts.quantity import Quantity
from tubwater.tub import Plan, Reason, Step, StepKind, Verdict

__all__ = ["plan_too_high", "reads_bleached", "reads_too_high"]

_LIKELY = 0.8  # of the believed tubs have fallen (judgement)
_LOOKS = (2.0, 4.0, 8.0, 12.0, 24.0)  # h; after a day somebody looks in any case (judgement)
_LONG = 2.0  # times the limit, from which on changing a part of the water is the quicker way (judgement)
_MOST_CHANGED = 0.5


def reads_too_high(case: Situation) -> bool:
    """The newest valid reading of the sanitizer lies above what keeps people out, or may."""
    reading = case.last_valid(case.sanitizer_quantity)
    return reading is not None and max(case.standard(reading)) > case.limits(case.sanitizer_quantity).keep_out_high


def reads_bleached(case: Situation) -> bool:
    """The newest reading of the sanitizer is nothing, so soon after so big a dose that its colour was bleached."""
    read = [r for r in case.readings(case.sanitizer_quantity) if case.of_this_water(r)]
    return bool(read) and case.spoiled_by_a_dose(read[0]) == "reading-bleached"


def plan_too_high(case: Situation, verdict: Verdict, seed: int) -> Plan:
    """Feeder closed, no oxidizer, vented, covered, and the test that tells when it has fallen; where the colour was
    bleached, first the same test in thinned water."""
    line, bathing = Timeline(case, seed), (case.sanitizer_quantity, Quantity.PH)
    line.add(Step(StepKind.KEEP_OUT, reasons=verdict.reasons))
    if reads_bleached(case):
        line.test(bathing[:1], Reason("dilute-to-read"))
    close_feeder(line, kit_of(case), "no-more-sanitizer", "gloves-goggles")
    line.add(Step(StepKind.VENT, minutes=10.0, reasons=(Reason("vent-first"),), cautions=("adult-stays", "vent-cover")))
    line.add(Step(StepKind.COVER, minutes=1.0, cautions=("cover-locked",)))
    hours, likely = _hours_to_fall(case)
    again = case.now + timedelta(hours=hours)
    line.wait(60.0 * hours - line.clock, Reason("let-it-fall-by-itself" if likely else "falls-slowly"), covered=True)
    line.test(bathing, Reason("has-it-fallen" if likely else "may-still-be-high"))
    return Plan(
        begins=case.now,
        situation="too-high",
        verdict=verdict,
        steps=tuple(line.steps),
        after_soak=None,
        end=line.beside.expect(*bathing),
        low_point=(),
        fit_when=(fit_after_test(case, again),),
        next_visit=again,
        outcome=None,
        notes=(*(() if reads_bleached(case) else (Reason("dilute-to-read"),)), *_changing(case)),
        refused=left_out(case),
        seed=seed,
        ensemble=case.belief.size,
    )


def _later(case: Situation, hours: float) -> Situation:
    """Covered and unused for so long, without tablets."""
    state = advance(case.state, case.rates, hours, Mode.COVERED, None, case.buffer)
    return replace(case, belief=replace(case.belief, state=state))


def _hours_to_fall(case: Situation) -> tuple[float, bool]:
    """The first look at which most of the believed tubs are at or below the bathing limit, else the last, and which."""
    limit = case.limits(case.sanitizer_quantity).bathing_high

    def fallen(hours: float) -> bool:
        return float(np.mean(_later(case, hours).observer.read(case.sanitizer_quantity) <= limit)) >= _LIKELY

    return next(((hours, True) for hours in _LOOKS if fallen(hours)), (_LOOKS[-1], False))


def _changing(case: Situation) -> tuple[Reason, ...]:
    """Where it is far too high, the litres whose change brings the middle of what is believed to the limit."""
    present = float(np.median(case.observer.read(case.sanitizer_quantity)))
    limit = case.limits(case.sanitizer_quantity).bathing_high
    if present < _LONG * limit:
        return ()
    share = min(1.0 - limit / present, _MOST_CHANGED)
    litres = round(share * float(np.median(case.rates.litres)) / 10.0) * 10.0
    return (Reason("or-change-some-water", {"litres": litres}),)
