"""Many people at once: what they will use up, how many the water carries, what goes in afterwards.

What people bring follows from people times minutes (the demand of the belief); the dose after it is sized on the water
that they leave, with all that is still owed until the next morning.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np

from tubwater.advice.closing import kept_out
from tubwater.advice.decide import Kit, kit_of
from tubwater.advice.ending import fit_after_test, left_out, shopping
from tubwater.advice.measures import smallest
from tubwater.advice.mixing import mixing_factor
from tubwater.advice.now import Situation
from tubwater.advice.plans import usual_plan
from tubwater.advice.replay import ends_at, replayed
from tubwater.advice.safety import SHOCK_HEADROOM
from tubwater.advice.timeline import Timeline
from tubwater.advice.wishes import About, Wishes
from tubwater.belief import Observer
from tubwater.dynamics import TubState, soak
from tubwater.facts import Basis, BasisKind, defaults
from tubwater.facts.purposes import Purpose, purposes
from tubwater.facts.quantity import Quantity
from tubwater.tub import Plan, Product, Reason, Soaked, StepKind, Verdict

__all__ = ["plan_after_soak", "plan_party"]

_MORNING_HOURS = 10.0  # from the last dose to the test of the next morning (judgement)
_WAKE, _SLEEP = 8, 22  # o'clock, between which somebody tests (judgement)
_JUST = timedelta(hours=3)  # a soak noted so long ago is the one that is asked about (judgement)
_SURE = 0.9  # of the believed tubs stay above what keeps people out (judgement)
_MOST_GROUP = 24  # person-half-hours that are looked at
_MOST_GROUPS = 3  # at one party; each costs the reaction of a dose (judgement)
_HALF_HOUR, _BATHS = 30.0, 2.0  # min of one bath, and baths in an hour
_NONE = 1e-6
_PLACE = 0.75  # within the aim: its upper half before a night (judgement)
_ENOUGH = 0.8  # of what is wanted; less is told
_HELD_BACK = {"readings-do-not-fit", "wait-running", "monopersulfate-window"}
_LOAD = Basis(BasisKind.JUDGEMENT, ("bradford-2014", "berg-2019"), "measured for pools, carried over to hot water")


def plan_party(case: Situation, verdict: Verdict, wishes: Wishes, seed: int, purpose: Purpose, about: About) -> Plan:
    """The water made ready, the party with its tests, and what goes in afterwards."""
    at = wishes.guests_at or (about.since or case.now) + timedelta(hours=_said(about, "hours"))
    if at + timedelta(minutes=_said(about, "minutes")) <= case.now:
        return plan_after_soak(case, verdict, wishes, seed, purpose, about)
    plan = usual_plan(case, replace(wishes, guests_at=at, days=1.0), seed, verdict)
    if plan.situation != "in-use":
        return replace(plan, notes=(Reason("before-the-party"), *plan.notes))
    line = Timeline(case, seed)
    line.beside, line.clock = replayed(case, plan, seed), ends_at(plan)
    line.wait(max((at - case.now).total_seconds() / 60.0 - line.clock, 0.0), Reason("until-they-come"), covered=True)
    begins = case.now + timedelta(minutes=line.clock)
    bathing = (case.sanitizer_quantity, Quantity.PH)
    line.test(bathing, Reason("party-before"))
    told = (_uses(case, line, about), _carries(case, line, about))
    waits = _bathe(line, case, about)
    wanted = _afterwards(line, case)
    return _packed(plan, line, case, purpose, begins, (*told, *waits, *wanted))


def plan_after_soak(
    case: Situation, verdict: Verdict, wishes: Wishes, seed: int, purpose: Purpose, about: About
) -> Plan:
    """What goes in after people were in, at once, and the test of the next morning."""
    if {reason.kind for reason in verdict.reasons} & _HELD_BACK or case.empty:
        return usual_plan(case, wishes, seed, verdict)
    line = Timeline(case, seed)
    line.add(kept_out(verdict, Reason("just-soaked")))
    told = (_uses(case, line, about),)
    if not _noted(case):
        line.beside.state = _soaked(line, _said(about, "people"), _said(about, "minutes"))
    wanted = _afterwards(line, case)
    bare = _nothing_yet(case, verdict, seed, purpose)
    return _packed(bare, line, case, purpose, case.now, (*told, *wanted))


def _said(about: About, name: str) -> float:
    found: float | None = getattr(about, name)
    return found or purposes()[about.key].asks[name].usual or 0.0


def _bather_hours(about: About) -> float:
    return _said(about, "people") * _said(about, "minutes") / 60.0


def _noted(case: Situation) -> bool:
    return any(isinstance(e, Soaked) and timedelta() <= case.now - e.at <= _JUST for e in case.belief.events)


def _soaked(line: Timeline, people: float, minutes: float) -> TubState:
    state = soak(line.beside.state, line.beside.rates, people * minutes / 60.0, people)
    return replace(state, ph=Observer(state).solved.ph)


def _uses(case: Situation, line: Timeline, about: About) -> Reason:
    """What so many people for so long use up in all, mg/L on the tub's own scale."""
    rates = line.beside.rates
    used = rates.demand * _bather_hours(about) * case.grams_per_mol * 1000.0 / rates.litres
    low, middle, high = (float(v) for v in np.quantile(used, (0.05, 0.5, 0.95)))
    values: dict[str, float | str] = {"people": _said(about, "people"), "minutes": _said(about, "minutes")}
    values |= {"quantity": str(case.sanitizer_quantity), "value": middle, "low": low, "high": high}
    return Reason("party-uses", values, _LOAD)


def _carries(case: Situation, line: Timeline, about: About) -> Reason:
    """How many person-half-hours leave enough sanitizer, and between which a test comes."""
    count, wanted = _carried(case, line), _BATHS * _bather_hours(about)
    kind = "party-carried" if count >= wanted else "party-in-groups" if count else "party-too-much"
    limit = case.limits(case.sanitizer_quantity).keep_out_low
    values: dict[str, float | str] = {"count": float(count), "wanted": wanted, "low": limit}
    return Reason(kind, {**values, "quantity": str(case.sanitizer_quantity), "wait": _between(case, line)}, _LOAD)


def _carried(case: Situation, line: Timeline) -> int:
    """Person-half-hours that water which is tested good carries before it may be below what keeps people out."""
    limits, rates, state = case.limits(case.sanitizer_quantity), line.beside.rates, line.beside.state
    good = case.sanitizer_of(state) >= limits.bathing_low
    for count in range(_MOST_GROUP if good.any() else 0):
        after = case.sanitizer_of(soak(state, rates, (count + 1) / _BATHS, float(count + 1)))
        if float(np.mean(after[good] >= limits.keep_out_low)) < _SURE:
            return count
    return _MOST_GROUP if good.any() else 0


def _between(case: Situation, line: Timeline) -> float:
    """Minutes that a dose between two groups needs before the next may get in."""
    product = kit_of(case).oxidizer
    mixed = defaults()["mix_minutes"].value * mixing_factor(case.tub)
    return max(line.reaction_minutes, mixed) if product and product.substance == "monopersulfate" else mixed


def _bathe(line: Timeline, case: Situation, about: About) -> tuple[Reason, ...]:
    """Groups of as many as the water carries, one at least, each between two tests, with the dose between them.

    Returns:
        What is told of those who have to wait for another day.
    """
    wanted = left = _BATHS * _bather_hours(about)
    for group in range(1, _MOST_GROUPS + 1):
        left -= _group(line, case, about, min(left, max(_carried(case, line), 1.0)), left)
        done = left <= _NONE or group == _MOST_GROUPS
        read = (case.sanitizer_quantity,) if done else (case.sanitizer_quantity, Quantity.PH)
        line.test(read, Reason("party-over"))
        if done or not _restored(line, case):
            break
    if left <= _NONE:
        return ()
    return (Reason("party-waits", {"count": wanted - left, "wanted": wanted, "rest": left}, _LOAD),)


def _group(line: Timeline, case: Situation, about: About, baths: float, left: float) -> float:
    """One group in the water: as many people as that makes, for half an hour or less; the baths that they take."""
    most, stay = _said(about, "people"), min(_said(about, "minutes"), _HALF_HOUR)
    people = min(max(float(np.floor(baths * _HALF_HOUR / stay + _NONE)), 1.0), most)
    minutes = _HALF_HOUR * baths / people if baths >= left else stay
    values: dict[str, float | str] = {"people": float(people), "minutes": float(minutes)}
    values |= {"low": case.limits(case.sanitizer_quantity).keep_out_low, "quantity": str(case.sanitizer_quantity)}
    line.wait(minutes, Reason("party-runs" if people > 1.0 else "party-runs-one", values))
    line.beside.state = _soaked(line, people, minutes)
    return people * minutes / _HALF_HOUR


def _restored(line: Timeline, case: Situation) -> bool:
    """The dose between two groups, its reaction and the test that lets the next in; False where none may follow."""
    limits, product = case.limits(case.sanitizer_quantity), kit_of(case).oxidizer
    grams = line.nearest(product, _wanted(line, case, kit_of(case), hours=0.0)) if product else 0.0
    if product is None or grams <= 0.0:
        read = float(np.median(case.sanitizer_of(line.beside.state)))
        return read >= limits.bathing_low  # enough is left: the test after this group lets the next one in
    if not line.fits(product, smallest(product), limits.bathing_high):
        return False
    line.prepare()
    if line.dose(product, grams, Reason("between-groups"), case.sanitizer_quantity, limits.bathing_high) <= 0.0:
        return False
    if product.substance == "monopersulfate":
        line.react(Reason("let-it-react"))
    line.test((case.sanitizer_quantity, Quantity.PH), Reason("party-next"))
    return True


def _afterwards(line: Timeline, case: Situation) -> tuple[Reason, ...]:
    """The oxidizer in its parts, the night under the cover, and the test of the morning; what is told of the rest."""
    kit, bathing = kit_of(case), (case.sanitizer_quantity, Quantity.PH)
    product, wanted = kit.oxidizer, _wanted(line, case, kit)
    given = _given(line, case, product, wanted) if product is not None else 0.0
    if any(step.kind is StepKind.DOSE for step in line.steps):
        line.close()
    line.wait(_until_morning(case.now + timedelta(minutes=line.clock)), Reason("night-under-cover"), covered=True)
    line.test(bathing, Reason("morning-after"))
    if product is None:
        return (Reason("party-without-oxidizer"),)
    if given >= _ENOUGH * wanted:
        return ()
    return (Reason("party-rest", {"grams": line.nearest(product, wanted - given), "product": product.name}),)


def _until_morning(ends: datetime) -> float:
    """Minutes to a test that nobody gets up for, after as many hours as the slow demand takes."""
    at = ends + timedelta(hours=_MORNING_HOURS)
    if _WAKE <= at.hour < _SLEEP:
        return 60.0 * _MORNING_HOURS
    day = at + timedelta(days=1) if at.hour >= _SLEEP else at
    return (day.replace(hour=_WAKE, minute=0, second=0, microsecond=0) - ends).total_seconds() / 60.0


def _wanted(line: Timeline, case: Situation, kit: Kit, hours: float = _MORNING_HOURS) -> float:
    """Grams that meet what is owed for so long, until the morning, and leave the upper half of the aim."""
    if kit.oxidizer is None:
        return 0.0
    state, rates, limits = line.beside.state, line.beside.rates, case.limits(case.sanitizer_quantity)
    owed = case.owed(state, -np.expm1(-hours * rates.slow_rate))
    goal = limits.aim_low + _PLACE * (limits.aim_high - limits.aim_low)
    missing = float(np.median(goal - case.sanitizer_of(state) + owed))
    oxidant = case.products.compositions[kit.oxidizer.name].oxidant * case.grams_per_mol
    return max(missing, 0.0) * line.litres / 1000.0 / oxidant


def _given(line: Timeline, case: Situation, product: Product, wanted: float) -> float:
    limit = case.limits(case.sanitizer_quantity).bathing_high
    grams, high = line.nearest(product, wanted), SHOCK_HEADROOM * max(limit, defaults()["shock_mg"].value)
    if grams <= 0.0:
        return 0.0
    line.prepare()
    return line.dose(product, grams, Reason("after-so-many"), case.sanitizer_quantity, high)


def _nothing_yet(case: Situation, verdict: Verdict, seed: int, purpose: Purpose) -> Plan:
    return Plan(
        begins=case.now,
        situation=purpose.key,
        verdict=verdict,
        steps=(),
        after_soak=None,
        end=(),
        low_point=(),
        fit_when=(),
        next_visit=case.now,
        outcome=None,
        refused=left_out(case),
        shopping=shopping(case, kit_of(case)),
        seed=seed,
        ensemble=case.belief.size,
    )


def _packed(
    plan: Plan, line: Timeline, case: Situation, purpose: Purpose, begins: datetime, told: tuple[Reason, ...]
) -> Plan:
    """The plan with what was written after it; before the party its own test opens the tub, after it the morning's."""
    morning = case.now + timedelta(minutes=line.clock)
    opens = begins if plan.steps else morning
    later = (Reason("after-it-the-morning"),) if plan.steps else ()
    notes = (*told, *(Reason(kind, basis=purpose.basis) for kind in purpose.notes), *plan.notes)
    return replace(
        plan,
        situation=purpose.key,
        steps=(*plan.steps, *line.steps),
        after_soak=None,
        end=line.beside.expect(case.sanitizer_quantity, Quantity.PH),
        low_point=(),
        outcome=None,
        fit_when=(fit_after_test(case, opens), *later),
        next_visit=morning,
        notes=notes,
        horizon=None,
    )
