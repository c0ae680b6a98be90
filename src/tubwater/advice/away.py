"""Nobody is there for some days, and the day on which somebody is back.

Water stays only where somebody looks after it: a weekend by itself, weeks with somebody who tests every day, and
otherwise the tub is emptied.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np

from tubwater.advice.closing import closed, kept_out
from tubwater.advice.decide import kit_of
from tubwater.advice.ending import fit_after_test
from tubwater.advice.heating import heat_minutes
from tubwater.advice.measures import grams_floor, smallest
from tubwater.advice.now import Situation
from tubwater.advice.plans import usual_plan
from tubwater.advice.safety import cap_grams
from tubwater.advice.stops import plan_anew
from tubwater.advice.timeline import Timeline
from tubwater.advice.water_goes import plan_emptied, plan_renewed
from tubwater.advice.wishes import About, Wishes
from tubwater.facts import Basis, BasisKind, defaults
from tubwater.facts.purposes import Purpose, purposes
from tubwater.facts.quantity import Quantity
from tubwater.facts.situations import procedures
from tubwater.tub import Plan, Reason, Soaked, Step, StepKind, Verdict

__all__ = ["plan_away", "plan_back"]

_LOOKED_AHEAD = 7.0  # d; further on counts what is tested every day
_DOSE_MG = 2.0  # mg/L that whoever looks after it adds where it reads too little (judgement)
_VENT_MINUTES = 15.0  # what rose under a cover for days goes first (judgement)
_BY_DECAY = Basis(BasisKind.CALCULATION, (), "loss and feeder of this tub, at the cooler temperature")


def plan_away(case: Situation, verdict: Verdict, wishes: Wishes, seed: int, purpose: Purpose, about: About) -> Plan:
    """The visit before an absence: dosed to last, cooler, and handed over where it is long; or emptied."""
    if purpose.watched and not wishes.later_by:
        empty = purposes()["mothball"]
        bare = replace(purpose, steps=empty.steps, notes=empty.notes)
        emptied = plan_emptied(case, verdict, wishes, seed, bare, about)
        return replace(emptied, notes=(Reason("nobody-looks", _days(about)), *emptied.notes))
    days = min(_of(about), _LOOKED_AHEAD) if purpose.watched else _of(about)
    plan = usual_plan(_unused(case, purpose), replace(wishes, days=days), seed, verdict)
    if plan.situation != "in-use":
        return replace(plan, notes=(Reason("before-you-go"), *plan.notes))
    return _left_alone(plan, case, wishes, purpose, days, case.now + timedelta(days=_of(about)))


def plan_back(case: Situation, verdict: Verdict, wishes: Wishes, seed: int, purpose: Purpose, about: About) -> Plan:
    """The day of the return: air, look and test before anything; water that was low for too long goes."""
    if case.empty:
        return plan_renewed(case, verdict, wishes, seed, purposes()["start-again"], about)
    if not _just_read(case):
        return _look_first(case, verdict, seed, purpose, about)
    reading, low = case.last_valid(case.sanitizer_quantity), case.limits(case.sanitizer_quantity).keep_out_low
    if reading is not None and case.middle(reading) < low and _of(about) > _long_days():
        found = procedures()["long-lapse"]
        plan = plan_anew(case, verdict, wishes, seed, found, found.steps)
        return replace(plan, notes=(Reason("back-too-long", _days(about), found.basis), *plan.notes))
    return usual_plan(case, wishes, seed, verdict)


def _unused(case: Situation, purpose: Purpose) -> Situation:
    """The same tub with nobody bathing, and as much slower in its loss as it is cooler."""
    rates, celsius = case.rates, min(purpose.celsius or case.tub.temperature, case.tub.temperature)
    slower = rates.decay_at(celsius) / rates.decay_at(case.tub.temperature)
    events = tuple(event for event in case.belief.events if not isinstance(event, Soaked))
    belief = replace(case.belief, rates=replace(rates, idle_decay=rates.idle_decay * slower), events=events)
    return replace(case, belief=belief, tub=replace(case.tub, soaks_per_week=0.0))


def _left_alone(plan: Plan, case: Situation, wishes: Wishes, purpose: Purpose, days: float, back: datetime) -> Plan:
    """The plan with what is done before the door closes, and whether the sanitizer lasts until the return."""
    clock = max((step.starts_at + step.minutes for step in plan.steps), default=0.0)
    steps = [*plan.steps, _cooler(case, purpose, clock)]
    if purpose.watched:
        steps.append(_daily(case, wishes, clock + steps[-1].minutes))
    again = heat_minutes(case.tub, case.tub.litres, min(purpose.celsius, case.tub.temperature)) / 60.0
    notes = (_lasts(plan, case, days), Reason("heat-on-return", {"hours": again}), *_told(case, purpose))
    return replace(
        plan,
        situation=purpose.key,
        steps=tuple(steps),
        after_soak=None,
        fit_when=(Reason("back-again-first"), fit_after_test(case, back)),
        next_visit=back,
        notes=(*notes, *plan.notes),
    )


def _lasts(plan: Plan, case: Situation, days: float) -> Reason:
    """Whether the sanitizer is likely to stay above what keeps people out."""
    limit, lowest = case.limits(case.sanitizer_quantity).keep_out_low, plan.low_point[0]
    sure = "away-lasts" if lowest.low >= limit else "away-may-last" if lowest.median >= limit else "away-will-not-last"
    values: dict[str, float | str] = {"quantity": str(case.sanitizer_quantity), "limit": limit, "days": days}
    return Reason(sure, {**values, "value": lowest.median, "low": lowest.low}, _BY_DECAY)


def _cooler(case: Situation, purpose: Purpose, clock: float) -> Step:
    celsius = min(purpose.celsius, case.tub.temperature)
    rates = case.rates
    slower = float(np.median(rates.decay_at(celsius) / rates.decay_at(case.tub.temperature)))
    why = Reason("cooler-lasts-longer", {"temperature": celsius, "share": slower}, defaults()["decay_q10"].basis)
    task = "set-cooler" if case.tub.equipment.pump else "let-it-cool"
    return Step(StepKind.CHECK, minutes=2.0, reasons=(why,), cautions=("cover-locked",), task=task, starts_at=clock)


def _daily(case: Situation, wishes: Wishes, clock: float) -> Step:
    """Whoever looks after it tests every day; what it means stands in the reason."""
    quantity, limits = case.sanitizer_quantity, case.limits(case.sanitizer_quantity)
    values: dict[str, float | str] = {"quantity": str(quantity), "low": limits.bathing_low, "out": limits.keep_out_low}
    values |= _small_dose(case)
    return Step(
        StepKind.HAND_OVER,
        by=wishes.later_by,
        quantities=(quantity, Quantity.PH),
        reasons=(Reason("look-every-day", values, Basis(BasisKind.JUDGEMENT)),),
        cautions=("nobody-in", "cover-locked"),
        starts_at=clock,
    )


def _small_dose(case: Situation) -> dict[str, float | str]:
    """What brings the sanitizer up a little, in the oxidizer in hand; nothing where there is none."""
    product = kit_of(case).oxidizer
    if product is None:
        return {}
    oxidant = case.products.compositions[product.name].oxidant * case.grams_per_mol
    grams = _DOSE_MG * float(np.median(case.rates.litres)) / 1000.0 / oxidant
    most = max(grams_floor(product, cap_grams(product, case.litres_low)), smallest(product))
    nearest = grams_floor(product, grams + 0.5 * smallest(product))
    return {"product": product.name, "grams": min(max(nearest, smallest(product)), most)}


def _look_first(case: Situation, verdict: Verdict, seed: int, purpose: Purpose, about: About) -> Plan:
    line, bathing = Timeline(case, seed), (case.sanitizer_quantity, Quantity.PH)
    line.add(kept_out(verdict, Reason("back-again")))
    vented = (Reason("vent-first"),)
    line.add(Step(StepKind.VENT, minutes=_VENT_MINUTES, reasons=vented, cautions=("adult-stays", "vent-cover")))
    line.add(Step(StepKind.CHECK, minutes=5.0, reasons=(Reason("eye-before-test"),), task="look-after-absence"))
    line.prepare()
    line.test(bathing, Reason("back-tells"))
    line.cover()
    return closed(line, verdict, purpose, (_still_there(case, about), *_branches(case, about), *_told(case, purpose)))


def _still_there(case: Situation, about: About) -> Reason:
    low = case.limits(case.sanitizer_quantity).keep_out_low
    there = float(np.mean(case.sanitizer_of(case.state) >= low))
    values: dict[str, float | str] = {"quantity": str(case.sanitizer_quantity), "probability": there, "low": low}
    return Reason("back-likely", {**values, **_days(about)}, _BY_DECAY)


def _branches(case: Situation, about: About) -> tuple[Reason, ...]:
    """What each reading leads to."""
    values = {"low": case.limits(case.sanitizer_quantity).keep_out_low, "days": _long_days()}
    long = _of(about) > _long_days()
    lost = Reason("back-low-and-long" if long else "back-low", values, procedures()["long-lapse"].basis)
    return (Reason("back-good", values), lost)


def _just_read(case: Situation) -> bool:
    newest = [case.last_valid(q) for q in (case.sanitizer_quantity, Quantity.PH)]
    span = timedelta(hours=defaults()["stale_sanitizer_hours"].value)
    return all(reading is not None and case.now - reading.at <= span for reading in newest)


def _long_days() -> float:
    return defaults()["long_lapse_hours"].value / 24.0


def _of(about: About) -> float:
    return about.days or purposes()[about.key].asks["days"].usual or 1.0


def _days(about: About) -> dict[str, float | str]:
    return {"days": _of(about)}


def _told(case: Situation, purpose: Purpose) -> tuple[Reason, ...]:
    """What the purpose tells; of power only where there is a pump."""
    kinds = purpose.notes if case.tub.equipment.pump else ()
    return tuple(Reason(kind, basis=purpose.basis) for kind in kinds)
