"""Where something is wrong before any dose: the steps of its procedure as it stands in the facts, for this tub."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from tubwater.advice.disinfect import disinfecting, is_hypochlorite, level_test
from tubwater.advice.drains import with_fill_water
from tubwater.advice.heating import fill_celsius, heat_minutes, heated, hose_minutes, warmed
from tubwater.advice.now import Situation
from tubwater.advice.senses import kind_of_sign
from tubwater.advice.timeline import Timeline
from tubwater.facts.quantity import Quantity
from tubwater.facts.situations import Deed, Procedure, procedures
from tubwater.tub import CONTAMINATIONS, Clarity, Dosed, Noticed, Reason, Sanitizer, Step, StepKind

__all__ = ["Written", "applies", "begun", "left_of", "procedure_for", "still_to_do", "written"]

_SHOCK_MG = 3.0  # mg/L that a dose must be able to make to count as a shock (judgement)
_FROM_A_SHOP = {"new-filter": "buy-filter", "purge-pipes": "buy-pipe-cleaner"}
_BY_FIRE = {"electric-off": "fire-out", "power-when-full": "fire-when-full"}
_TIME_TO_CLEAR = timedelta(hours=20)  # after which a shock that did not clear the water has failed (judgement)


@dataclass(frozen=True)
class Written:
    """The steps of a procedure, with what else is told and what has to be bought for it."""

    steps: tuple[Step, ...]
    notes: tuple[Reason, ...] = ()
    shopping: tuple[Reason, ...] = ()


def procedure_for(case: Situation, kinds: set[str]) -> Procedure | None:
    """The gravest procedure that reasons of these kinds call for, or None."""
    found = kinds | ({"stays-cloudy"} if _stays_cloudy(case) else set())
    return next((p for p in procedures().values() if p.reasons & found), None)


def _stays_cloudy(case: Situation) -> bool:
    """Cloudy before a shock and a day after it, and never clear since."""
    if case.clarity not in (Clarity.CLOUDY, Clarity.HAZY):
        return False
    return any(_in_vain(case, dosed) for dosed in case.doses())


def _in_vain(case: Situation, dosed: Dosed) -> bool:
    looks = [e for e in case.belief.events if isinstance(e, Noticed) and e.at <= case.now]
    before = [e for e in looks if e.at <= dosed.at + timedelta(hours=1)]
    clear = any(e.clarity is Clarity.CLEAR and e.at > dosed.at for e in looks)
    cloudy = bool(before) and max(before, key=lambda e: e.at).clarity in (Clarity.CLOUDY, Clarity.HAZY)
    same = case.filled_at is None or case.filled_at < dosed.at
    old = case.now - dosed.at >= _TIME_TO_CLEAR
    return same and cloudy and old and not clear and case.raises_by(dosed) >= _SHOCK_MG


def begun(case: Situation, found: Procedure) -> datetime:
    """When it was first noticed; a contamination stands from look to look until somebody says that it is settled."""
    looks = sorted((e for e in case.belief.events if isinstance(e, Noticed) and e.at <= case.now), key=lambda e: e.at)
    at = case.noticed.at
    for look in reversed(looks):
        if not any(kind_of_sign(sign) in found.reasons for sign in look.signs & CONTAMINATIONS):
            break
        at = look.at
    return at


def still_to_do(case: Situation, found: Procedure) -> tuple[Deed, ...]:
    """The steps of a procedure that are left once water was let out, filled in and disinfected; empty for none."""
    return left_of(case, found.steps, begun(case, found))


def left_of(case: Situation, steps: tuple[Deed, ...], since: datetime) -> tuple[Deed, ...]:
    """What is left of steps that were begun at ``since``, once water was let out, filled in and disinfected."""
    drained, filled = case.changes_since(since)
    full_first = next((d.do for d in steps if d.do in (StepKind.FILL, StepKind.DRAIN)), "") == StepKind.FILL
    rest = _after(steps, StepKind.DRAIN, drained if full_first else max(drained, filled))
    if filled and filled >= drained + full_first:
        rest = _after(rest, StepKind.FILL, 1) if any(deed.do == StepKind.FILL for deed in rest) else ()
    dosed = [d for d in case.doses() if d.at >= (case.filled_at or since) and is_hypochlorite(case, d.product)]
    return _held(case, rest, dosed[-1].at) if filled and dosed else rest


def _held(case: Situation, rest: tuple[Deed, ...], dosed: datetime) -> tuple[Deed, ...]:
    """What is left once the chlorine is in: its time counts from when the level was read, and is read first.

    A level that is read too low begins the time anew, with what is missing.
    """
    dose = next((deed for deed in rest if deed.do == StepKind.DOSE), None)
    if dose is None:
        return rest
    read = [r for r in case.readings(Quantity.FREE_CHLORINE) if r.at >= dosed]
    low = [r.at for r in read if min(case.standard(r)) < dose.free_chlorine]
    reached = [r.at for r in read if not low or r.at > max(low)]
    after = _after(rest, StepKind.DOSE, 1)
    if not reached:
        return (dose if low else replace(dose, do=StepKind.TEST, why=""), *after)
    left = _waited(after, case.now - min(reached))
    hold = timedelta(minutes=sum(deed.minutes for deed in after if deed.do == StepKind.WAIT))
    return _after(left, StepKind.TEST, int(max(reached) - min(reached) >= hold))


def _after(steps: tuple[Deed, ...], kind: StepKind, count: int) -> tuple[Deed, ...]:
    """What follows the step that is so many of its kind."""
    places = [n for n, deed in enumerate(steps) if deed.do == kind]
    if not count or not places:
        return steps
    return steps[places[min(count, len(places)) - 1] + 1 :]


def _waited(steps: tuple[Deed, ...], passed: timedelta) -> tuple[Deed, ...]:
    """The same with the waits that have run off already taken away."""
    left, found = passed.total_seconds() / 60.0, []
    for deed in steps:
        gone = min(deed.minutes, left) if deed.do == StepKind.WAIT else 0.0
        left -= gone
        if gone == 0.0 or deed.minutes > gone:
            found.append(replace(deed, minutes=deed.minutes - gone))
    return tuple(found)


def written(case: Situation, found: Procedure, deeds: tuple[Deed, ...], seed: int) -> Written:
    """The steps for this tub: what it lacks is left out, amounts are computed for its litres."""
    deeds = tuple(deed for deed in deeds if applies(case, deed))
    line, shopping = Timeline(with_fill_water(case), seed), []
    line.beside = warmed(line.beside, _celsius(case, found))
    for place, deed in enumerate(deeds):
        if deed.free_chlorine > 0.0 and deed.do == StepKind.TEST:
            level_test(line, deed)
        elif deed.free_chlorine > 0.0:
            shopping += disinfecting(line, case, deed, sum(d.minutes for d in deeds[place:] if d.do == StepKind.WAIT))
        elif deed.do == StepKind.PREPARE:
            line.prepare()
        else:
            line.add(_step(case, deed))
        _passes(line, case, deed)
    shopping += [Reason(_FROM_A_SHOP[deed.task]) for deed in deeds if deed.task in _FROM_A_SHOP]
    notes = tuple(Reason(kind, basis=found.basis) for kind in found.notes)
    return Written(tuple(line.steps), notes, tuple(shopping))


def _celsius(case: Situation, found: Procedure) -> float:
    """Temperature of a fill that disinfects, degC: heated for it, or as it came from the tap; otherwise the tub's."""
    if not any(deed.free_chlorine for deed in found.steps):
        return case.tub.temperature
    return max(deed.celsius for deed in found.steps) or fill_celsius(case.tub)


def _passes(line: Timeline, case: Situation, deed: Deed) -> None:
    """What a step does to the water beside: a fill is tap-cold, then it is heated, and hours go by under the cover."""
    if deed.do == StepKind.FILL:
        line.beside = warmed(line.beside, fill_celsius(case.tub))
    elif deed.do == StepKind.HEAT:
        line.beside = heated(line.beside, deed.celsius, line.steps[-1].minutes)
    elif deed.do == StepKind.WAIT:
        line.beside.state = line.beside.later(line.beside.state, deed.minutes, deed.covered)


def applies(case: Situation, deed: Deed) -> bool:
    """Whether the tub has what a step is for."""
    bromine = case.tub.sanitizer is Sanitizer.BROMINE
    return (case.tub.equipment.pump or not deed.pump) and (bromine or not deed.bromine)


def _cautions(case: Situation, deed: Deed) -> tuple[str, ...]:
    """Of power where there is a pump, of fire where there is none."""
    return deed.cautions if case.tub.equipment.pump else tuple(_BY_FIRE.get(key, key) for key in deed.cautions)


def _step(case: Situation, deed: Deed) -> Step:
    litres = case.tub.litres if deed.all_water else 0.0
    minutes = deed.minutes or hose_minutes(litres)
    if deed.celsius > 0.0:
        minutes = heat_minutes(replace(case.tub, temperature=deed.celsius), case.tub.litres)
    values: dict[str, float | str] = {"temperature": deed.celsius} if deed.celsius else {}
    return Step(
        StepKind(deed.do),
        minutes=minutes,
        litres=litres,
        quantities=(case.sanitizer_quantity, Quantity.PH) if deed.do == StepKind.TEST else (),
        reasons=(Reason(deed.why, values, deed.basis),) if deed.why else (),
        cautions=_cautions(case, deed),
        task=deed.task,
        covered=deed.covered,
    )
