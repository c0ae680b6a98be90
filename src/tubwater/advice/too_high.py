"""Too much sanitizer: nothing goes in, the feeder is closed, and a test comes when it will likely have fallen.

Where the next visit is days away, the plan says which tablets go back in after that test: without them the water would
be without sanitizer long before.  No dose after a soak stands until that test, since it would raise what is too high.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np

from tubwater.advice.decide import Decision, Kit, decide, kit_of
from tubwater.advice.ending import fit_after_test, left_out
from tubwater.advice.feeder import close_feeder, held_others, setting_for
from tubwater.advice.now import Situation
from tubwater.advice.timeline import Timeline
from tubwater.advice.wishes import Wishes
from tubwater.dynamics import Mode, advance
from tubwater.facts.quantity import Quantity
from tubwater.tub import Plan, Reason, Step, StepKind, Verdict

__all__ = ["plan_too_high", "reads_bleached", "reads_too_high"]

_LIKELY = 0.8  # of the believed tubs have fallen (judgement)
_LOOKS = (2.0, 4.0, 8.0, 12.0, 24.0)  # h; after a day somebody looks in any case (judgement)
_DAYS_ON = (36.0, 48.0, 72.0, 96.0)  # h; further on, for what holds until the next visit
_LONG = 2.0  # times the limit, from which on changing a part of the water is the quicker way (judgement)
_MOST_CHANGED = 0.5
_SOON = 2.0  # d, in which a feeder without tablets leaves no gap (judgement)
_NOTHING_ADDED = {"acid": 0.0, "bicarbonate": 0.0, "soda_ash": 0.0, "oxidizer": 0.0, "after_soak": 0.0}


def reads_too_high(case: Situation) -> bool:
    """The newest valid reading of the sanitizer lies above what keeps people out, or may."""
    reading = case.last_valid(case.sanitizer_quantity)
    return reading is not None and max(case.standard(reading)) > case.limits(case.sanitizer_quantity).keep_out_high


def reads_bleached(case: Situation) -> bool:
    """The newest reading of the sanitizer is nothing, so soon after so big a dose that its colour was bleached."""
    read = [r for r in case.readings(case.sanitizer_quantity) if case.of_this_water(r)]
    return bool(read) and case.spoiled_by_a_dose(read[0]) == "reading-bleached"


def plan_too_high(case: Situation, verdict: Verdict, wishes: Wishes, seed: int) -> Plan:
    """Feeder closed, no oxidizer, vented, covered, and the test that tells when it has fallen; where the colour was
    bleached, first the same test in thinned water."""
    line, bathing, kit = Timeline(case, seed), (case.sanitizer_quantity, Quantity.PH), kit_of(case)
    line.add(Step(StepKind.KEEP_OUT, reasons=verdict.reasons))
    if reads_bleached(case):
        line.test(bathing[:1], Reason("dilute-to-read"))
    close_feeder(line, kit, "no-more-sanitizer", "gloves-goggles")
    line.add(Step(StepKind.VENT, minutes=10.0, reasons=(Reason("vent-first"),), cautions=("adult-stays", "vent-cover")))
    line.add(Step(StepKind.COVER, minutes=1.0, cautions=("cover-locked",)))
    fallen = _fallen_after(case)
    hours, likely = min(fallen, _LOOKS[-1]), fallen <= _LOOKS[-1]
    again = case.now + timedelta(hours=hours)
    line.wait(60.0 * hours - line.clock, Reason("let-it-fall-by-itself" if likely else "falls-slowly"), covered=True)
    line.test(bathing, Reason("has-it-fallen" if likely else "may-still-be-high"))
    end, then = line.beside.expect(*bathing), _afterwards(case, kit, wishes, fallen)
    notes = () if reads_bleached(case) else (Reason("dilute-to-read"),)
    return Plan(
        begins=case.now,
        situation="too-high",
        verdict=verdict,
        steps=tuple(line.steps),
        after_soak=None,
        end=end,
        low_point=(),
        fit_when=(fit_after_test(case, again),),
        next_visit=again,
        outcome=None,
        notes=(*notes, *_changing(case), *(_back_in(line, kit, then, fallen) if then else ())),
        refused=left_out(case),
        seed=seed,
        ensemble=case.belief.size,
    )


def _later(case: Situation, hours: float) -> Situation:
    """Covered and unused for so long, without tablets."""
    state = advance(case.state, case.rates, hours, Mode.COVERED, None, case.buffer)
    return replace(case, belief=replace(case.belief, state=state))


def _afterwards(case: Situation, kit: Kit, wishes: Wishes, fallen: float) -> Decision | None:
    """Tablets from when it has fallen, h, to the next visit; None where that is soon, or where nobody knows how much
    there is."""
    days = wishes.days - fallen / 24.0
    if days < _SOON or reads_bleached(case):
        return None
    later = replace(wishes, days=days)
    return decide(_later(case, fallen), kit, later, np.random.default_rng(11), _NOTHING_ADDED)


def _back_in(line: Timeline, kit: Kit, then: Decision, fallen: float) -> tuple[Reason, ...]:
    """The tablets that go back into the feeder once it has fallen; nothing where other ones were in it."""
    case, limits = line.case, line.case.limits(line.case.sanitizer_quantity)
    if kit.tablet is None or held_others(case, kit.tablet):
        return ()
    line.beside.state = line.beside.later(line.beside.state, 60.0 * fallen - line.clock, True)
    setting = setting_for(line, kit, then)
    if not setting.tablets:
        return ()
    values: dict[str, float | str] = {"count": float(setting.tablets), "product": kit.tablet.name}
    values |= {"high": limits.bathing_high, "quantity": str(case.sanitizer_quantity), "opening": setting.opening}
    at = case.now + timedelta(hours=fallen)
    return (Reason("tablets-back-in", values | {"time": at.isoformat(timespec="minutes")}, limits.basis),)


def _fallen_after(case: Situation) -> float:
    """Hours until most of the believed tubs are at or below the bathing limit, covered and unused; infinite where
    that takes longer than days."""
    limit = case.limits(case.sanitizer_quantity).bathing_high

    def fallen(hours: float) -> bool:
        return float(np.mean(_later(case, hours).observer.read(case.sanitizer_quantity) <= limit)) >= _LIKELY

    return next((hours for hours in (*_LOOKS, *_DAYS_ON) if fallen(hours)), float("inf"))


def _changing(case: Situation) -> tuple[Reason, ...]:
    """Where it is far too high, the litres whose change brings the middle of what is believed to the limit."""
    present = float(np.median(case.observer.read(case.sanitizer_quantity)))
    limit = case.limits(case.sanitizer_quantity).bathing_high
    if present < _LONG * limit:
        return ()
    share = min(1.0 - limit / present, _MOST_CHANGED)
    litres = round(share * float(np.median(case.rates.litres)) / 10.0) * 10.0
    return (Reason("or-change-some-water", {"litres": litres}),)
