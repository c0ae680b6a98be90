"""The plan for a tub in use: what is added, in which order, with waits, retests and the standing rule."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import partial
from types import MappingProxyType

import numpy as np

from tubwater.advice.acid_first import ACID_FIRST, beside_base, in_order, kept_out_by_ph, stays_out
from tubwater.advice.aeration import air_helps, has_air
from tubwater.advice.attended import be_there
from tubwater.advice.care import due_tasks
from tubwater.advice.decide import Decision, Kit, bank_is_thin, bromide_to, calcium_to, decide, kit_of
from tubwater.advice.drains import Change, after_change, change_needed, write_change
from tubwater.advice.ending import (
    after_soak,
    fit_after_test,
    left_out,
    low_point,
    not_in_time,
    outcome_of,
    runs_out,
    shopping,
)
from tubwater.advice.feeder import fresh_feeder, held_others, set_feeder, setting_for
from tubwater.advice.measures import amount_of
from tubwater.advice.now import Situation
from tubwater.advice.restraint import held_back, ph_in_doubt, remains, within_aims
from tubwater.advice.saturation import lime_told
from tubwater.advice.shock import SHOCK_ENOUGH, oxidizer_waits, shock_most, shock_notes, shock_to_hold
from tubwater.advice.short import Visit, Wanted, handed_over, left_over, urgent, within
from tubwater.advice.timeline import Timeline
from tubwater.advice.wishes import Wishes
from tubwater.advice.worth import better_tests
from tubwater.facts import defaults
from tubwater.facts.quantity import Quantity
from tubwater.tub import Amount, Plan, Reason, Step, StepKind, Verdict, VerdictKind

__all__ = ["plan_in_use"]

_OVERNIGHT = 1.0  # d; lost sanitizer is looked at again the next day
_NEARLY = 0.05  # pH below the aim that is left alone (judgement)
_AIRED = 0.1  # pH above the lower end of the aim, to which air goes (judgement)
_REASONS = {
    "bicarbonate": "raise-alkalinity",
    "soda_ash": "raise-ph",
    "calcium": "raise-calcium",
    "bromide": "bromide-bank",
    "oxidizer": "weekly-shock",
}
_SHOWS = {"calcium": Quantity.CALCIUM_HARDNESS}
_RETEST = {"bicarbonate": (Quantity.TOTAL_ALKALINITY, Quantity.PH)}
_BALANCE = ("bicarbonate", "acid", "soda_ash", "calcium", "bromide")


@dataclass(frozen=True, eq=False)
class _Task:
    """Everything that one plan in use is built from."""

    case: Situation
    verdict: Verdict
    wishes: Wishes
    seed: int
    kit: Kit
    decision: Decision
    change: Change | None
    recovery: bool

    @property
    def visit(self) -> Visit:
        """The additions in the order of the work: what makes the water unsafe first, the feeder last."""
        names = ("oxidizer", *_BALANCE) if self.recovery else (*_BALANCE, "oxidizer")
        levers = self.decision.levers
        rows = [(name, getattr(self.kit, name), levers.get(name, 0.0)) for name in names]
        rows.append(("feeder", self.kit.tablet, levers["tablet_grams"]))
        return Visit(tuple(Wanted(name, product, grams) for name, product, grams in rows if product and grams > 0.0))


def plan_in_use(case: Situation, verdict: Verdict, wishes: Wishes, seed: int, shock: bool = False) -> Plan:
    """Steps in order for the water as it is; ``shock`` treats it as if the sanitizer had been lost."""
    task = _task(case, verdict, wishes, seed, shock or _recovering(case, verdict))
    visit, line = _cut(task)
    if not task.recovery and _finds_no_room(task, visit, line):
        task = _task(case, verdict, wishes, seed, False, {"oxidizer": 0.0})
        visit, line = _cut(task)
    if not (task.recovery or task.change):
        line.care_first(wishes.minutes)
    return _packed(task, line, visit)


def _cut(task: _Task) -> tuple[Visit, Timeline]:
    """The visit that its minutes hold, written out."""
    first, litres = urgent(task.case, task.recovery), float(np.median(task.case.rates.litres))
    return within(task.visit, task.wishes.minutes, first, litres, partial(_written, task))


def _finds_no_room(task: _Task, visit: Visit, line: Timeline) -> bool:
    """The oxidizer that is wanted is too much by its smallest measure: what stood against its acid has no reason."""
    return (item := visit.find("oxidizer")) is not None and line.given(item.product) <= 0.0


def _task(
    case: Situation,
    verdict: Verdict,
    wishes: Wishes,
    seed: int,
    recovery: bool,
    without: Mapping[str, float] = MappingProxyType({}),
) -> _Task:
    change = change_needed(case)
    case = after_change(case, change.litres) if change else case
    kit = kit_of(case)
    decision = decide(case, kit, wishes, np.random.default_rng(11), {**_fixed(case, kit, recovery), **without})
    more = {"calcium": calcium_to(case, kit), "bromide": bromide_to(case, kit)}
    decision = replace(decision, levers=within_aims(case, kit, decision.levers, seed, recovery) | more)
    return _Task(case, verdict, wishes, seed, kit, decision, change, recovery)


def _recovering(case: Situation, verdict: Verdict) -> bool:
    """The sanitizer is gone by the reading's middle, or was by what was told, with no better reading since."""
    floor = case.limits(case.sanitizer_quantity).keep_out_low
    told = case.lapse is not None and "lapse" in {r.kind for r in verdict.reasons}
    better = [r for r in case.readings(case.sanitizer_quantity) if case.middle(r) >= floor]
    since = case.lapse is not None and any(r.at > case.lapse.since for r in better)
    return _middle(case) < floor or (told and not since)


def _middle(case: Situation) -> float:
    reading = case.last_valid(case.sanitizer_quantity)
    assert reading is not None  # without one, only a test is planned
    return case.middle(reading)


def _fixed(case: Situation, kit: Kit, recovery: bool) -> dict[str, float]:
    held = held_back(case)
    if _middle(case) > case.limits(case.sanitizer_quantity).keep_out_high:
        return {**held, "oxidizer": 0.0, "tablet_grams": 0.0}
    return held | ({"oxidizer": shock_to_hold(case, kit)} if recovery else {})


def _written(task: _Task, visit: Visit) -> Timeline:
    """The timeline of a visit; acid before bicarbonate only where both then go in."""
    line = _line(task, visit, acid_first=True)
    first, base = (s.reasons[0].kind for s in line.steps if s.reasons), task.kit.bicarbonate
    alone = not ACID_FIRST.isdisjoint(first) and base is not None and line.given(base) <= 0.0
    return _line(task, visit, acid_first=False) if alone else line


def _line(task: _Task, visit: Visit, acid_first: bool) -> Timeline:
    line = Timeline(task.case, task.seed, due_tasks(task.case))
    if task.verdict.kind is not VerdictKind.FIT or task.recovery:
        line.add(Step(StepKind.KEEP_OUT, reasons=task.verdict.reasons))
    if task.recovery and visit.cleans:
        line.clean()
    if task.change:
        write_change(line, task.case, task.change)
    if visit.left and not visit.wanted:
        line.cover()
        return line
    line.prepare()
    old, doubt = _too_old(task), ph_in_doubt(task.case)
    if old and not task.change:
        line.test((task.case.sanitizer_quantity, Quantity.PH, Quantity.TOTAL_ALKALINITY), old)
    elif doubt:
        line.test((Quantity.PH,), doubt)
    given: dict[str, float] = {}
    order, base = visit.wanted, task.decision.levers.get("bicarbonate", 0.0)
    if acid_first:
        order = in_order(line, task.case, task.kit, order, _highest(task, "acid"))
    for item in order:
        if item.name == "oxidizer" and not task.recovery:  # it makes acid, which finds more room after the air
            _air(line, task, visit, given)
        if item.name != "feeder":
            beside = item if order is not visit.wanted else beside_base(item, base, given)
            given[item.name] = _add(line, task, beside, visit.retests)
    _rest_of_shock(line, task, visit, given)
    _air(line, task, visit, given)
    if visit.find("feeder") or task.decision.levers["tablet_grams"] <= 0.0:
        set_feeder(line, task.kit, task.decision)
    line.close()
    return line


def _too_old(task: _Task) -> Reason | None:
    """Why the water is tested before anything goes in, or None: it was read too long ago to let anybody in."""
    hours = [float(r.values["hours"]) for r in task.verdict.reasons if r.kind == "reading-too-old"]
    return Reason("test-is-old", {"hours": max(hours)}) if hours else None


def _air(line: Timeline, task: _Task, visit: Visit, given: dict[str, float]) -> None:
    """Air where a low pH keeps people out, once: it adds no alkalinity and takes none."""
    moved = any(given.get(name, 0.0) > 0.0 for name in ("acid", "soda_ash"))
    aired = any(step.kind is StepKind.AERATE for step in line.steps)
    if visit.retests and not moved and not aired and _wants_air(task, line):
        limits = task.case.limits(Quantity.PH)
        values: dict[str, float | str] = {"quantity": str(Quantity.PH), "value": _ph(line), "low": limits.aim_low}
        reason = Reason("air-out", values | {"high": limits.aim_high}, limits.basis)
        line.aerate(limits.aim_low + _AIRED, reason)


def _wants_air(task: _Task, line: Timeline) -> bool:
    low = _ph(line) < task.case.limits(Quantity.PH).aim_low - _NEARLY
    return low and task.verdict.kind is not VerdictKind.FIT and not task.recovery


def _ph(line: Timeline) -> float:
    return line.beside.expect(Quantity.PH)[0].median


def _rest_of_shock(line: Timeline, task: _Task, visit: Visit, given: dict[str, float]) -> None:
    """What of a recovery found no room before acid took pH and lime down, or base took the pH up."""
    item = visit.find("oxidizer")
    moved = any(given.get(name, 0.0) > 0.0 for name in ("acid", "bicarbonate", "soda_ash"))
    rest = item.grams - given.get("oxidizer", 0.0) if item else 0.0
    if item and task.recovery and moved and rest >= (1.0 - SHOCK_ENOUGH) * item.grams:
        _add(line, task, replace(item, grams=rest), visit.retests)


def _add(line: Timeline, task: _Task, item: Wanted, retests: bool) -> float:
    """An addition, g; alkalinity and pH only in part where the keeper's test can then tell how it went."""
    quantity = _SHOWS.get(item.name, Quantity.TOTAL_ALKALINITY)
    quantity = task.case.sanitizer_quantity if item.name == "oxidizer" else quantity
    reason = _reason(task, item.name, line)
    in_part = item.name in ("acid", "bicarbonate", "soda_ash") and line.tells(item.product, item.grams)
    in_part = in_part and reason.kind not in ACID_FIRST  # the test comes after what it makes room for
    grams = item.grams * (defaults()["retest_share"].value if in_part else 1.0)
    given = line.dose(item.product, grams, reason, quantity, _highest(task, item.name), item.parts)
    if in_part and retests and given > 0.0:
        rest = amount_of(item.product, max(item.grams - given, 0.0), down=True)
        line.test(
            _RETEST.get(item.name, (Quantity.PH,)),
            Reason("retest-tells", {"product": item.product.name, "grams": rest.grams, **_measured(rest)}),
        )
    return given


def _measured(amount: Amount) -> dict[str, float | str]:
    return {"count": amount.count, "measure": amount.measure} if amount.count and amount.measure else {}


def _reason(task: _Task, name: str, line: Timeline) -> Reason:
    if name == "oxidizer":
        begun = any(r.kind == "recover-sanitizer" for s in line.steps for r in s.reasons)
        return Reason(("rest-of-shock" if begun else "recover-sanitizer") if task.recovery else "weekly-shock")
    if name == "bromide":
        bank = defaults()["bank_target_mg"]
        return Reason("bromide-bank", {"value": bank.value}, bank.basis)
    quantity = {"bicarbonate": Quantity.TOTAL_ALKALINITY, "calcium": Quantity.CALCIUM_HARDNESS}.get(name, Quantity.PH)
    limits = task.case.limits(quantity)
    values: dict[str, float | str] = {
        "quantity": str(quantity),
        "value": line.beside.expect(quantity)[0].median,
        "low": limits.aim_low,
        "high": limits.aim_high,
    }
    if name == "bicarbonate" and float(values["value"]) >= limits.aim_low:
        low = float(np.mean(line.beside.observer().read(quantity) < limits.aim_low))
        return Reason("alkalinity-may-be-low", values | {"share": low}, limits.basis)
    return Reason(_acid_first(task, line) if name == "acid" else _REASONS[name], values, limits.basis)


def _acid_first(task: _Task, line: Timeline) -> str:
    """Why acid goes in: for the pH, or before the bicarbonate that is wanted, and then whether people have to wait."""
    base = task.kit.bicarbonate if task.decision.levers.get("bicarbonate", 0.0) > 0.0 else None
    if base is None or line.given(base) > 0.0:
        return "lower-ph"
    return "lower-ph-first" if kept_out_by_ph(task.case) else "acid-makes-room"


def _highest(task: _Task, name: str) -> float:
    """A declared recovery may pass the bathing maximum; it ends in keep out until tested."""
    shock = shock_most(task.kit) if task.recovery and name == "oxidizer" else defaults()["shock_mg"].value
    return max(task.case.limits(task.case.sanitizer_quantity).bathing_high, shock)


def _packed(task: _Task, line: Timeline, visit: Visit) -> Plan:
    case, wishes = task.case, task.wishes
    again = _test_from(task, line)
    notes = [*_hand_over(task, line, visit, again), *not_in_time(wishes.guests_at, again)]
    notes += be_there(line.steps, case.tub.equipment, case.now) if task.change else []
    notes += [*_shock_told(task, line), *_airless(task, line, visit)]
    left = {item.name for item in visit.left}
    notes += stays_out(line, case, task.kit, "bicarbonate" in left)
    notes += [] if task.recovery else oxidizer_waits(line, task.kit.oxidizer, "oxidizer" in left)
    notes += [*remains(case, line.beside), *(() if task.recovery else runs_out(case, task.decision.lived, wishes.days))]
    notes += lime_told(case, line.beside)
    notes += [Reason("thin-bank")] if bank_is_thin(case) else []
    notes += [Reason("change-the-whole-water")] if task.change and task.change.whole else []
    return Plan(
        begins=case.now,
        situation="recovery" if task.recovery else "in-use",
        verdict=task.verdict,
        steps=tuple(line.steps),
        after_soak=after_soak(case, task.kit, task.decision, line.reaction_minutes),
        end=line.beside.expect(case.sanitizer_quantity, Quantity.PH, Quantity.TOTAL_ALKALINITY),
        low_point=low_point(case, task.decision),
        fit_when=_fit_when(task, line, again),
        next_visit=_back(task, line),
        outcome=outcome_of(case, task.decision.lived, task.decision.without),
        notes=tuple(notes),
        refused=left_out(case),
        shopping=shopping(case, task.kit),
        better_tests=better_tests(case, task.decision),
        seed=task.seed,
        ensemble=case.belief.size,
    )


def _back(task: _Task, line: Timeline) -> datetime:
    """The next visit; where new water has to warm, not before the plan is done."""
    days = min(task.wishes.days, _OVERNIGHT) if task.recovery else task.wishes.days
    return task.case.now + max(timedelta(days=days), timedelta(minutes=line.clock if task.change else 0.0))


def _shock_told(task: _Task, line: Timeline) -> list[Reason]:
    wanted, oxidizer = task.decision.levers.get("oxidizer", 0.0), task.kit.oxidizer
    return shock_notes(line, oxidizer, wanted) if task.recovery and oxidizer is not None else []


def _airless(task: _Task, line: Timeline, visit: Visit) -> list[Reason]:
    """Says so where air would bring the pH up, but nobody knows whether lime would come out of the water."""
    aired = any(s.kind is StepKind.AERATE for s in line.steps) or not has_air(task.case.tub.equipment)
    if aired or not visit.retests or not _wants_air(task, line):
        return []
    if not air_helps(line.beside, task.case.limits(Quantity.PH).aim_low + _AIRED):
        return []
    return [Reason("air-held-back", {"quantity": str(Quantity.PH), "value": _ph(line)})]


def _test_from(task: _Task, line: Timeline) -> datetime:
    """From when on a test counts: after the oxidizer's reaction, or the last addition's wait."""
    oxidizer = task.kit.oxidizer
    oxidized = [s.starts_at for s in line.steps if oxidizer and s.amount and s.amount.product == oxidizer.name]
    slow = oxidizer is not None and oxidizer.substance == "monopersulfate"
    until = max(oxidized) + line.reaction_minutes if oxidized and slow else 0.0
    mixed = line.clock + (defaults()["mix_minutes"].value if _doses(line) else 0.0)
    return task.case.now + timedelta(minutes=max(until, mixed))


def _doses(line: Timeline) -> bool:
    return any(s.kind is StepKind.DOSE for s in line.steps)


def _fit_when(task: _Task, line: Timeline, again: datetime) -> tuple[Reason, ...]:
    if task.verdict.kind is VerdictKind.FIT and not _doses(line) and not task.change:
        return (Reason("fit-now", {"until": task.verdict.good_until.isoformat(timespec="minutes")}),)
    more = (Reason("two-good-readings"),) if task.recovery else ()
    return (fit_after_test(task.case, again), *more)


def _hand_over(task: _Task, line: Timeline, visit: Visit, again: datetime) -> list[Reason]:
    """What the minutes do not reach: to a named person where there is one, otherwise to the next visit."""
    case, minutes, by, needed = task.case, task.wishes.minutes, task.wishes.later_by, line.clock
    if minutes is None or (needed <= minutes and not visit.left):
        return []
    cleaned = [Reason("clean-later")] if task.recovery and not visit.cleans else []
    if not by:
        return [*left_over(visit, minutes, needed), *cleaned]
    if task.kit.tablet is not None:
        setting = setting_for(line, task.kit, task.decision)
        visit = visit.feeding(setting.tablets * task.kit.tablet_grams, setting.opening)
    tablet = next((item.product for item in visit.left if item.name == "feeder"), None)
    others = fresh_feeder(by) if tablet is not None and held_others(case, tablet) else ()
    for step in (*others, *handed_over(case, visit, line, task.wishes)):
        line.add(step)
    bathing = (case.sanitizer_quantity, Quantity.PH)
    reasons = (Reason("minutes-end", {"minutes": minutes}), fit_after_test(case, again))
    line.add(Step(StepKind.HAND_OVER, by=by, quantities=bathing, reasons=reasons))
    return cleaned
