"""Fresh water as a timeline: fill, sanitize, heat, balance, bromide, activation, feeder, and two good tests.

Every amount is sized for the water as it is at that step: tap-cold at first, warm after the heater had its hours.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np

from tubwater.advice.attended import shared_out
from tubwater.advice.balancing import Balance, rounds_in
from tubwater.advice.beside import Beside
from tubwater.advice.decide import Decision, Kit, decide, kit_of, oxidizer_to
from tubwater.advice.drains import with_fill_water
from tubwater.advice.ending import after_soak, fit_after_test, left_out, low_point, not_in_time, outcome_of, shopping
from tubwater.advice.feeder import set_feeder
from tubwater.advice.heating import fill_celsius, heat_minutes, heater_kw, hose_minutes, warmed
from tubwater.advice.measures import smallest
from tubwater.advice.now import Situation
from tubwater.advice.tap import fill_reason, is_known, tap_notes
from tubwater.advice.timeline import Timeline
from tubwater.advice.wishes import Occasion, Wishes
from tubwater.belief import Belief
from tubwater.chemistry import INDEX, MG_PER_MOL, bromide_bank
from tubwater.facts import care_steps, defaults, substances
from tubwater.facts.quantity import Quantity
from tubwater.tub import (
    AfterSoak,
    Dosed,
    Expectation,
    Filled,
    Outcome,
    Plan,
    Product,
    Reason,
    Sanitizer,
    Step,
    StepKind,
    Tested,
    Verdict,
    as_kept,
)

__all__ = ["just_filled", "plan_fresh"]

_JUST_HOURS = 72.0  # a fill this long ago without a test of the sanitizer is still being started
_FIRST_MG = 3.0  # mg/L of sanitizer while it heats, the lower end of the household aim (common practice)
_UNSEEN_MINUTES = 1800.0  # of heating; longer, and somebody looks at the sanitizer on the way (judgement)
_NO_BANK = 0.1  # of the bank aimed for, below which there is none (judgement)
_ENOUGH = 0.8  # of the start-up goal; less is told, with what is left to add
_NOTHING_NOW: dict[str, float] = {"acid": 0.0, "bicarbonate": 0.0, "soda_ash": 0.0, "oxidizer": 0.0}
_BALANCED = (Quantity.TOTAL_ALKALINITY, Quantity.PH, Quantity.CALCIUM_HARDNESS)
_BROMIDE = INDEX["bromide"]


def _hold_minutes() -> float:
    """How long the sanitizer has to hold before the first soak."""
    return 1440.0 * defaults()["start_up_days"].value


def _filled_at(case: Situation) -> datetime | None:
    return max((e.at for e in case.belief.events if isinstance(e, Filled)), default=None)


def _filled_lately(case: Situation) -> bool:
    at = _filled_at(case)
    return at is not None and not case.empty and case.now - at <= timedelta(hours=_JUST_HOURS)


def just_filled(case: Situation) -> bool:
    """Filled in the last days, and the sanitizer not read since."""
    at = _filled_at(case)
    if at is None or not _filled_lately(case):
        return False
    read = [e.at for e in case.belief.events if isinstance(e, Tested) for r in e.readings if _is_sanitizer(case, r)]
    return not read or max(read) < at


def _is_sanitizer(case: Situation, reading: object) -> bool:
    return getattr(reading, "quantity", None) is case.sanitizer_quantity


def plan_fresh(
    case: Situation, verdict: Verdict, wishes: Wishes, seed: int, first: tuple[Step, ...] = (), situation: str = ""
) -> Plan:
    """The way from an empty (or just filled) tub to the first soak; ``first`` stands before it."""
    return _Start(case, verdict, wishes, seed, situation or "fresh-fill").plan(first)


class _Start:
    """Builds one start-up."""

    def __init__(self, case: Situation, verdict: Verdict, wishes: Wishes, seed: int, situation: str) -> None:
        lately = wishes.occasion is Occasion.FRESH_WATER and _filled_lately(case)
        self.filled = (just_filled(case) or lately) and situation == "fresh-fill"
        self.case = case if self.filled else with_fill_water(case)
        self.verdict, self.wishes, self.seed, self.situation = verdict, wishes, seed, situation
        self.kit: Kit = kit_of(self.case)
        self.line = Timeline(
            self.case, seed, [care_steps()["inspect-suction-covers"]] if case.tub.equipment.pump else []
        )
        self.line.beside = warmed(self.line.beside, _celsius_now(case) if self.filled else fill_celsius(case.tub))
        self.balance = Balance(self.line, self.kit, rounds_in(wishes.minutes))
        self.notes: list[Reason] = list(tap_notes(self.case, self.filled))

    def plan(self, first: tuple[Step, ...]) -> Plan:
        """The whole timeline."""
        self.line.add(Step(StepKind.KEEP_OUT, reasons=(Reason("start-up"),)))
        for step in first:
            self.line.add(step)
        self._fill()
        self.line.prepare()
        self._know()
        self.balance.steady()
        self._bank()
        if not self._sanitize():
            return self._until_tested()
        self._heat()
        self._balance()
        self._activate()
        end = _at_end(self.case, self.line.beside)
        decision = decide(end, self.kit, self.wishes, np.random.default_rng([self.seed, 13]), _NOTHING_NOW)
        self._hold(decision)
        self._tell_shortfall()
        return self._packed(
            self.line.clock,
            after_soak=after_soak(end, self.kit, decision, end.monopersulfate_minutes),
            low_point=low_point(end, decision),
            outcome=outcome_of(end, decision.lived, decision.without) if self.kit.tablet else None,
        )

    def _hold(self, decision: Decision) -> None:
        """The first good test, the feeder, a night under the cover, and the second good test."""
        bathing = (self.case.sanitizer_quantity, Quantity.PH)
        if self.kit.oxidizer is not None:
            self.line.test(bathing, Reason("first-good-test"))
        set_feeder(self.line, self.kit, decision)
        self.line.close()
        self.line.wait(_hold_minutes(), Reason("hold-overnight"), covered=True)
        self.line.test(bathing, Reason("second-good-test"))

    def _until_tested(self) -> Plan:
        """Warm water without sanitizer is not planned: it ends with the test that lets the oxidizer in."""
        if self.kit.oxidizer is not None:
            self.notes.append(self._why_not())
        if self.line.steps[-1].kind is not StepKind.TEST:
            self.line.test((Quantity.PH, Quantity.TOTAL_ALKALINITY), Reason("test-before-heating"))
        begun = self.line.clock
        self.line.close()
        return self._packed(begun + self._heat_minutes + _hold_minutes(), again=begun)

    def _why_not(self) -> Reason:
        """Why hardly any sanitizer can go in: a measure too coarse, or the pH."""
        product, ph = self.kit.oxidizer, self.line.beside.expect(Quantity.PH)[0]
        if product is not None and self.line.too_coarse(product, self._high):
            return Reason("measure-too-coarse", {"product": product.name, "grams": smallest(product)})
        hours = self._heat_minutes / 60.0
        return Reason("no-sanitizer-yet", {"low": ph.low, "high": ph.high, **({"hours": hours} if hours else {})})

    @property
    def _high(self) -> float:
        return self.case.limits(self.case.sanitizer_quantity).bathing_high

    def _fill(self) -> None:
        if self.filled:
            return
        litres, equipment = self.case.tub.litres, self.case.tub.equipment
        cautions = ("power-when-full",) if equipment.pump else ("fire-when-full",)
        minutes, reasons = hose_minutes(litres), (fill_reason(self.case),)
        self.line.add(Step(StepKind.FILL, minutes=minutes, litres=litres, reasons=reasons, cautions=cautions))

    def _know(self) -> None:
        """The tap water is tested first where nobody knows what it is: what goes in rests on its pH."""
        unknown = [q for q in _BALANCED if not self._is_known(q)]
        if Quantity.PH in unknown or Quantity.TOTAL_ALKALINITY in unknown:
            self.line.test(_BALANCED, Reason("know-the-fill"))

    def _is_known(self, quantity: Quantity) -> bool:
        """Of water that is still to come, what was read in the old water says nothing."""
        return is_known(self.case, quantity) if self.filled else quantity in self.case.tub.fill.values

    def _bank(self) -> None:
        if self.case.tub.sanitizer is not Sanitizer.BROMINE or self._bank_dosed():
            return
        goal, present = defaults()["bank_target_mg"].value, self._bank_mg
        if goal - present < 0.2 * goal:
            return
        if self.kit.bromide is None:
            self.notes.append(Reason("no-bank"))
            return
        per_gram = self.case.products.compositions[self.kit.bromide.name].per_gram
        bromide = float(per_gram[_BROMIDE]) * MG_PER_MOL["bromide"]
        grams = self.line.nearest(self.kit.bromide, (goal - present) * self.line.litres / 1000.0 / bromide)
        reason = Reason("bromide-bank", {"value": goal}, defaults()["bank_target_mg"].basis)
        self._give(self.kit.bromide, grams, reason, Quantity.TOTAL_ALKALINITY)

    def _bank_dosed(self) -> bool:
        """Sodium bromide goes in once per fill."""
        at, bromide = _filled_at(self.case), self.kit.bromide
        doses = [e for e in self.case.belief.events if isinstance(e, Dosed) and bromide and e.product == bromide.name]
        return self.filled and at is not None and any(dose.at >= at for dose in doses)

    def _sanitize(self) -> bool:
        """Some sanitizer once the water circulates, before it is heated; False where the limits keep it out."""
        product = self.kit.oxidizer
        if product is None:
            self.notes.append(Reason("warm-without-oxidizer", {"hours": self._heat_minutes / 60.0}))
            return self.kit.tablet is not None  # tablets bring some, later
        if self._is_known(Quantity.PH):
            self.balance.make_room(product, self._oxidizer_grams(_FIRST_MG))
        slow = product.substance == "monopersulfate" and self.case.tub.sanitizer is Sanitizer.BROMINE
        hours: dict[str, float | str] = {"hours": self.line.reaction_minutes / 60.0} if slow else {}
        left_out = self._oxidize(_FIRST_MG, Reason("sanitize-while-heating", hours))
        low = self.case.limits(self.case.sanitizer_quantity).keep_out_low
        return left_out <= 0.0 or self._sanitizer_soon() >= min(low, _ENOUGH * _FIRST_MG)

    def _tell_shortfall(self) -> None:
        """Says so where the sanitizer is not expected to be there at the last test."""
        limits, quantity = self.case.limits(self.case.sanitizer_quantity), self.case.sanitizer_quantity
        expected = self.line.beside.expect(quantity)[0].median
        if expected < limits.bathing_low:
            values: dict[str, float | str] = {"quantity": str(quantity), "value": expected, "low": limits.bathing_low}
            self.notes.append(Reason("not-enough-by-then", values, limits.basis))

    def _sanitizer_soon(self) -> float:
        """The sanitizer once all monopersulfate has reacted, mg/L, at the middle of the believed tubs."""
        observer = self.line.beside.observer()
        return float(np.median(observer.read(self.case.sanitizer_quantity) + observer.monopersulfate))

    def _oxidizer_grams(self, goal: float) -> float:
        if self.kit.oxidizer is None:
            return 0.0
        now = replace(self.case, belief=_moved(self.case, self.line.beside))
        grams = oxidizer_to(now, self.kit, goal)
        return max(self.line.nearest(self.kit.oxidizer, grams), smallest(self.kit.oxidizer)) if grams > 0.0 else 0.0

    def _oxidize(self, goal: float, reason: Reason) -> float:
        """The oxidizer in hand up to ``goal`` mg/L of sanitizer; grams that the limits did not let in."""
        product, grams = self.kit.oxidizer, self._oxidizer_grams(goal)
        if product is None:
            return 0.0
        return grams - self._give(product, grams, reason, self.case.sanitizer_quantity)

    @property
    def _heat_minutes(self) -> float:
        return heat_minutes(self.case.tub, self.case.tub.litres, self.line.celsius)

    def _heat(self) -> None:
        """Heating in stretches that nobody needs to see, with a look at the sanitizer between them."""
        minutes, begin, goal = self._heat_minutes, self.line.celsius, self.case.tub.temperature
        if minutes <= 0.0:
            return
        self.line.settle()
        count = int(np.ceil(minutes / _UNSEEN_MINUTES))
        for stretch in range(1, count + 1):
            self._heat_to(begin + (goal - begin) * stretch / count, as_kept(minutes / count))
            if stretch < count:
                self.line.test((self.case.sanitizer_quantity, Quantity.PH), Reason("look-while-heating"))
                if self._sanitizer_soon() < _ENOUGH * _FIRST_MG:
                    self._oxidize(_FIRST_MG, Reason("sanitize-while-heating"))
                self.line.settle()

    def _heat_to(self, celsius: float, minutes: float) -> None:
        tub, pump = self.case.tub, self.case.tub.equipment.pump
        until = self.case.now + timedelta(minutes=self.line.clock + minutes)
        values: dict[str, float | str] = {
            "kilowatts": heater_kw(tub),
            "from": self.line.celsius,
            "to": celsius,
            "time": until.isoformat(timespec="minutes"),
        }
        reason = Reason("heat-hours" if pump else "heat-by-fire", values, defaults()["heating_share"].basis)
        self.line.heat(celsius, minutes, reason, cautions=("cover-locked",) if pump else ("fire-watched",))
        self.line.prepare()

    def _balance(self) -> None:
        """Alkalinity, then pH, then calcium; each in part, since the fill water is known only roughly."""
        if not self._read_warm():
            self.line.test((self.case.sanitizer_quantity, *_BALANCED), Reason("know-before-balancing"))
        if self.balance.levels():
            self.line.test(_BALANCED, Reason("retest-tells"))
        self.notes += self.balance.notes

    def _read_warm(self) -> bool:
        """Filled, warm, and alkalinity and pH read since: there is nothing more to know."""
        heated = any(step.kind is StepKind.HEAT for step in self.line.steps)
        at = _filled_at(self.case) if self.filled and not heated else None
        read = [self.case.last_valid(q) for q in (Quantity.TOTAL_ALKALINITY, Quantity.PH)]
        return at is not None and all(r is not None and r.at >= at for r in read)

    def _give(self, product: Product, grams: float, reason: Reason, shows: Quantity) -> float:
        return self.line.dose(product, grams, reason, shows, self._high)

    def _without_bank(self) -> bool:
        """Whether a bromine tub holds next to no bromide, and none is going in."""
        goal = defaults()["bank_target_mg"].value
        return self.case.tub.sanitizer is Sanitizer.BROMINE and self._bank_mg < _NO_BANK * goal

    @property
    def _bank_mg(self) -> float:
        """Bromide in the water as it now is, mg/L, at the middle of the believed tubs."""
        return float(np.median(bromide_bank(self.line.beside.state.water)))

    def _activate(self) -> None:
        product, goal = self.kit.oxidizer, defaults()["start_up_mg"]
        if product is None or (product.substance == "monopersulfate" and self._without_bank()):
            return  # monopersulfate makes bromine of bromide only; without a bank more of it only piles up
        self.balance.make_room(product, self._oxidizer_grams(goal.value))
        kind = "activate-bank" if self.case.tub.sanitizer is Sanitizer.BROMINE else "first-chlorine"
        missing = self._oxidize(goal.value, Reason(kind, {"value": goal.value}, goal.basis))
        if missing > (1.0 - _ENOUGH) * self.line.nearest(product, missing + self._oxidizer_grams(goal.value)):
            self.notes.append(Reason("start-up-in-parts", {"grams": missing, "product": product.name}))
        if product.substance == "monopersulfate":
            self.line.react(Reason("let-it-react"))

    def _packed(
        self,
        ready_after: float,
        again: float | None = None,
        after_soak: AfterSoak | None = None,
        low_point: tuple[Expectation, ...] = (),
        outcome: Outcome | None = None,
    ) -> Plan:
        """The plan; ready after so many minutes at the earliest, and looked at again after ``again``."""
        case = self.case
        ready, back = (case.now + timedelta(minutes=m) for m in (ready_after, again or ready_after))
        fit = fit_after_test(case, ready)
        steps, there = shared_out(self.line.steps, case.tub.equipment, case.now, self.wishes, fit)
        return Plan(
            begins=case.now,
            situation=self.situation,
            verdict=self.verdict,
            steps=tuple(steps),
            after_soak=after_soak,
            end=self.line.beside.expect(case.sanitizer_quantity, *_BALANCED),
            low_point=low_point,
            fit_when=(fit, Reason("two-good-tests-a-day-apart")),
            next_visit=back,
            outcome=outcome,
            notes=(*self.notes, *there, *self._late(ready), Reason("test-twice-daily"), *_chlorine_only(case)),
            refused=left_out(case),
            shopping=(*shopping(case, self.kit), *_bank_shopping(case, self.kit)),
            seed=self.seed,
            ensemble=case.belief.size,
        )

    def _late(self, ready: datetime) -> tuple[Reason, ...]:
        """That it cannot be ready in time, and what takes so long."""
        found = not_in_time(self.wishes.guests_at, ready)
        heating = sum(step.minutes for step in self.line.steps if step.kind is StepKind.HEAT) or self._heat_minutes
        values = {"hold": _hold_minutes() / 60.0, **({"heating": heating / 60.0} if heating else {})}
        return (*found, Reason("start-up-takes", values)) if found else ()


def _celsius_now(case: Situation) -> float:
    """Temperature of the water that was just filled in, degC: as read since, or as the heater will have brought it."""
    at, tub = _filled_at(case), case.tub
    read = [r.value for r in case.readings(Quantity.TEMPERATURE) if at is not None and r.at >= at]
    if read or at is None:
        return min(read[0], tub.temperature) if read else tub.temperature
    begin, whole = fill_celsius(tub), heat_minutes(tub, tub.litres)
    heated = 1.0 if whole <= 0.0 else min((case.now - at) / timedelta(minutes=1) / whole, 1.0)
    return begin + max(tub.temperature - begin, 0.0) * heated if whole > 0.0 else tub.temperature


def _chlorine_only(case: Situation) -> tuple[Reason, ...]:
    """Chlorine has no feeder: it is dosed by hand, day by day."""
    return () if case.tub.sanitizer is Sanitizer.BROMINE else (Reason("chlorine-by-hand"),)


def _moved(case: Situation, beside: Beside) -> Belief:
    """The belief of the tubs beside, where the timeline has brought them."""
    thin = case.belief.thinned(beside.state.ph.size)
    return replace(thin, state=beside.state)


def _at_end(case: Situation, beside: Beside) -> Situation:
    return replace(case, belief=_moved(case, beside))


def _bank_shopping(case: Situation, kit: Kit) -> tuple[Reason, ...]:
    if case.tub.sanitizer is not Sanitizer.BROMINE or kit.bromide is not None:
        return ()
    return (Reason("buy", {"product": substances()["sodium-bromide"].name}),)
