"""Fresh water as a timeline: fill, sanitize, heat, balance, bromide, activation, feeder, and two good tests."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np

from tubwater.advice.beside import Beside
from tubwater.advice.decide import Decision, Kit, decide, kit_of, oxidizer_to
from tubwater.advice.ending import after_soak, fit_after_test, left_out, low_point, not_in_time, outcome_of, shopping
from tubwater.advice.feeder import set_feeder
from tubwater.advice.heating import heat_minutes, hose_minutes
from tubwater.advice.now import Situation
from tubwater.advice.solve import grams_for
from tubwater.advice.timeline import Timeline
from tubwater.advice.wishes import Wishes
from tubwater.belief import Belief, Observer
from tubwater.chemistry import INDEX, MG_PER_MOL
from tubwater.dynamics import TubState
from tubwater.facts import care_steps, defaults, substances
from tubwater.facts.quantity import Quantity
from tubwater.tub import Filled, Plan, Product, Reason, Sanitizer, Step, StepKind, Tested, Verdict

__all__ = ["just_filled", "plan_fresh"]

_JUST_HOURS = 72.0  # a fill this long ago without a test of the sanitizer is still being started
_FIRST_MG = 3.0  # mg/L of sanitizer while it heats, the lower end of the household aim (common practice)


_NOTHING_NOW: dict[str, float] = {"acid": 0.0, "bicarbonate": 0.0, "soda_ash": 0.0, "oxidizer": 0.0}
_BALANCED = (Quantity.TOTAL_ALKALINITY, Quantity.PH, Quantity.CALCIUM_HARDNESS)
_PLACE = {
    Quantity.TOTAL_ALKALINITY: 0.35,
    Quantity.PH: 0.4,
    Quantity.CALCIUM_HARDNESS: 0.2,
}  # within the aim (judgement)
_UP = {
    Quantity.TOTAL_ALKALINITY: "raise-alkalinity",
    Quantity.PH: "raise-ph",
    Quantity.CALCIUM_HARDNESS: "raise-calcium",
}
_DOWN = {Quantity.TOTAL_ALKALINITY: "lower-alkalinity", Quantity.PH: "lower-ph", Quantity.CALCIUM_HARDNESS: ""}
_BROMIDE = INDEX["bromide"]


def just_filled(case: Situation) -> bool:
    """Filled in the last days, and the sanitizer not read since."""
    fills = [e.at for e in case.belief.events if isinstance(e, Filled)]
    if not fills or case.now - max(fills) > timedelta(hours=_JUST_HOURS):
        return False
    read = [e.at for e in case.belief.events if isinstance(e, Tested) for r in e.readings if _is_sanitizer(case, r)]
    return not read or max(read) < max(fills)


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
        self.filled = just_filled(case) and situation == "fresh-fill"
        self.case = case if self.filled else _with_fill_water(case)
        self.verdict, self.wishes, self.seed, self.situation = verdict, wishes, seed, situation
        self.kit: Kit = kit_of(self.case)
        self.line = Timeline(
            self.case, seed, [care_steps()["inspect-suction-covers"]] if case.tub.equipment.pump else []
        )
        self.notes: list[Reason] = []

    def plan(self, first: tuple[Step, ...]) -> Plan:
        """The whole timeline."""
        self.line.add(Step(StepKind.KEEP_OUT, reasons=(Reason("start-up"),)))
        for step in first:
            self.line.add(step)
        self._fill()
        self.line.prepare()
        self._bank()
        self._sanitize_cold()
        self._heat()
        self._balance()
        self._activate()
        end = _at_end(self.case, self.line.beside)
        decision = decide(end, self.kit, self.wishes, np.random.default_rng([self.seed, 13]), _NOTHING_NOW)
        set_feeder(self.line, self.kit, decision)
        self.line.close()
        self._two_tests()
        return self._packed(end, decision)

    def _fill(self) -> None:
        if self.filled:
            return
        litres = self.case.tub.litres
        hard = _hard_fill(self.case)
        reasons = (Reason("blend-fill", hard),) if hard else (Reason("meter-the-fill"),)
        cautions = ("power-when-full",) if self.case.tub.equipment.pump else ()
        minutes = hose_minutes(litres)
        self.line.add(Step(StepKind.FILL, minutes=minutes, litres=litres, reasons=reasons, cautions=cautions))

    def _bank(self) -> None:
        if self.case.tub.sanitizer is not Sanitizer.BROMINE:
            return
        goal = defaults()["bank_target_mg"].value
        water = self.line.beside.state.water
        present = float(np.median(water.bromide + water.bromine)) * MG_PER_MOL["bromide"] * 993.0
        if goal - present < 0.2 * goal:
            return
        if self.kit.bromide is None:
            self.notes.append(Reason("no-bank"))
            return
        per_gram = self.case.products.compositions[self.kit.bromide.name].per_gram
        bromide = float(per_gram[_BROMIDE]) * MG_PER_MOL["bromide"]
        grams = (goal - present) * self.line.litres / 1000.0 / bromide
        self._give(self.kit.bromide, grams, Reason("bromide-bank", {"value": goal}, defaults()["bank_target_mg"].basis))

    def _sanitize_cold(self) -> None:
        self._oxidize(_FIRST_MG, Reason("sanitize-while-heating"))

    def _oxidize(self, goal: float, reason: Reason) -> None:
        product = self.kit.oxidizer
        if product is None:
            return
        now = replace(self.case, belief=_moved(self.case, self.line.beside))
        self._give(product, oxidizer_to(now, self.kit, goal), reason, self.case.sanitizer_quantity)

    def _heat(self) -> None:
        minutes = heat_minutes(self.case.tub, self.case.tub.litres)
        if self.filled or minutes <= 0.0:
            self.notes.append(Reason("heat-as-needed"))
            return
        self.line.settle()
        self.line.beside.state = self.line.beside.later(self.line.beside.state, minutes, covered=True)
        values: dict[str, float | str] = {"kilowatts": self.case.tub.equipment.heater_kw or 0.0}
        self.line.add(Step(StepKind.HEAT, minutes=minutes, reasons=(Reason("heat-hours", values),)))

    def _balance(self) -> None:
        """Alkalinity, then pH, then calcium; each in part, since the fill water is known only roughly."""
        wanted = (self.case.sanitizer_quantity, *_BALANCED)
        self.line.test(wanted, Reason("know-before-balancing"))
        share = defaults()["retest_share"].value
        given = [self._toward(quantity, share) for quantity in _BALANCED]
        if any(given):
            self.line.test(_BALANCED[:2], Reason("retest-tells"))

    def _toward(self, quantity: Quantity, share: float) -> bool:
        limits = self.case.limits(quantity)
        present = float(np.median(Observer(self.line.beside.state).read(quantity)))
        goal = limits.aim_low + _PLACE[quantity] * (limits.aim_high - limits.aim_low)
        outside = present < limits.aim_low or present > limits.aim_high
        product = self._product(quantity, up=present < goal) if outside else None
        if product is None:
            return False
        grams = share * grams_for(self.line.beside, self.case, product, quantity, goal)
        up = present < goal
        kind = _UP[quantity] if up else _DOWN[quantity]
        values: dict[str, float | str] = {
            "quantity": str(quantity),
            "value": present,
            "low": limits.aim_low,
            "high": limits.aim_high,
        }
        return self._give(product, grams, Reason(kind, values, limits.basis), quantity)

    def _product(self, quantity: Quantity, up: bool) -> Product | None:
        if quantity is Quantity.CALCIUM_HARDNESS:
            return self.kit.calcium if up else None
        if not up:
            return self.kit.acid
        return self.kit.bicarbonate if quantity is Quantity.TOTAL_ALKALINITY else self.kit.soda_ash

    def _give(
        self, product: Product, grams: float, reason: Reason, shows: Quantity = Quantity.TOTAL_ALKALINITY
    ) -> bool:
        high = self.case.limits(self.case.sanitizer_quantity).bathing_high
        return self.line.dose(product, grams, reason, shows, high) > 0.0

    def _activate(self) -> None:
        values: dict[str, float | str] = {"value": defaults()["start_up_mg"].value}
        kind = "activate-bank" if self.case.tub.sanitizer is Sanitizer.BROMINE else "first-chlorine"
        self._oxidize(defaults()["start_up_mg"].value, Reason(kind, values, defaults()["start_up_mg"].basis))
        product = self.kit.oxidizer
        if product is not None and product.substance == "monopersulfate":
            now = replace(self.case, belief=_moved(self.case, self.line.beside))
            self.line.wait(now.monopersulfate_minutes, Reason("let-it-react"))

    def _two_tests(self) -> None:
        bathing = (self.case.sanitizer_quantity, Quantity.PH)
        self.line.test(bathing, Reason("first-good-test"))
        hours = 24.0 * defaults()["start_up_days"].value
        self.line.wait(60.0 * hours, Reason("hold-overnight"), covered=True)
        self.line.test(bathing, Reason("second-good-test"))

    def _packed(self, end: Situation, decision: Decision) -> Plan:
        case = self.case
        ready = case.now + timedelta(minutes=self.line.clock)
        return Plan(
            begins=case.now,
            situation=self.situation,
            verdict=self.verdict,
            steps=tuple(self.line.steps),
            after_soak=after_soak(end, self.kit, decision, end.monopersulfate_minutes),
            end=self.line.beside.expect(case.sanitizer_quantity, *_BALANCED),
            low_point=low_point(end, decision),
            fit_when=(fit_after_test(case, ready), Reason("two-good-tests-a-day-apart")),
            next_visit=ready,
            outcome=outcome_of(end, decision.lived, decision.without),
            notes=(*self.notes, *not_in_time(self.wishes.guests_at, ready), Reason("test-twice-daily")),
            refused=left_out(case),
            shopping=(*shopping(case, self.kit), *_bank_shopping(case, self.kit)),
            seed=self.seed,
            ensemble=case.belief.size,
        )


def _with_fill_water(case: Situation) -> Situation:
    """The situation with the tub full of water from the tap and nothing in it."""
    none = np.zeros(case.belief.size)
    bare = TubState(case.rates.fill, none, none, none + 0.5, none + 7.5)
    state = replace(bare, ph=Observer(bare).solved.ph)
    return replace(case, belief=replace(case.belief, state=state))


def _moved(case: Situation, beside: Beside) -> Belief:
    """The belief of the tubs beside, where the timeline has brought them."""
    thin = case.belief.thinned(beside.state.ph.size)
    return replace(thin, state=beside.state)


def _at_end(case: Situation, beside: Beside) -> Situation:
    return replace(case, belief=_moved(case, beside))


def _hard_fill(case: Situation) -> dict[str, float | str]:
    """Share of soft water that brings a hard fill to the upper aim; empty where it is not too hard."""
    aim = case.limits(Quantity.CALCIUM_HARDNESS).aim_high
    hardness = float(np.median(case.observer.read(Quantity.CALCIUM_HARDNESS)))
    if hardness <= 1.2 * aim or Quantity.CALCIUM_HARDNESS not in case.tub.fill.values:
        return {}
    return {"value": hardness, "high": aim, "share": 1.0 - aim / hardness, "quantity": "calcium hardness"}


def _bank_shopping(case: Situation, kit: Kit) -> tuple[Reason, ...]:
    if case.tub.sanitizer is not Sanitizer.BROMINE or kit.bromide is not None:
        return ()
    return (Reason("buy", {"product": substances()["sodium-bromide"].name}),)
