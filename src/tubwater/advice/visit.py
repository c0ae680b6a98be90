"""The plan for a tub in use: what is added, in which order, with waits, retests and the standing rule."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np

from tubwater.advice.beside import Beside
from tubwater.advice.decide import Decision, Kit, decide, kit_of, oxidizer_to
from tubwater.advice.measures import amount_of, measure_spread
from tubwater.advice.now import Situation, others, substance_of
from tubwater.advice.rollout import Lived
from tubwater.advice.safety import largest_allowed
from tubwater.advice.verdict import judge
from tubwater.advice.wishes import Wishes
from tubwater.facts import defaults
from tubwater.facts.quantity import Quantity
from tubwater.measurement import distinguishes
from tubwater.tub import (
    AfterSoak,
    Expectation,
    Outcome,
    Plan,
    Product,
    Reason,
    Sanitizer,
    Step,
    StepKind,
    Verdict,
    VerdictKind,
)

__all__ = ["make_plan"]

_SHOCK = 10.0  # mg/L, to which lost sanitizer is raised (judgement)
_VENT_MINUTES = 10.0  # common practice
_SHORT_VISIT = 45.0  # min; below it one addition with its wait fits, two do not
_STOPS = {
    *("contamination", "drain-not-visible", "long-lapse", "sign-slime", "sign-suction-cover-missing"),
    *("sign-pump-failed", "sign-protective-device-tripped"),
}
_NEEDED = {
    "acid": "sodium bisulfate (dry acid)",
    "bicarbonate": "sodium bicarbonate",
    "oxidizer": "potassium monopersulfate or sodium hypochlorite",
    "tablet": "bromine tablets (BCDMH)",
}
_REASONS = {
    "acid": "lower-ph",
    "bicarbonate": "raise-alkalinity",
    "soda_ash": "raise-ph",
    "oxidizer": "weekly-shock",
}


def make_plan(case: Situation, wishes: Wishes, seed: int = 0) -> Plan:
    """A plan a person can carry out: steps in order, the dose after a soak, when people may get in."""
    verdict = judge(case)
    kinds = {reason.kind for reason in verdict.reasons}
    if kinds & _STOPS:
        return _stop(case, verdict, wishes, seed, "keep-out")
    if _must_test_first(case, kinds):
        return _stop(case, verdict, wishes, seed, "test-first")
    return _Visit(case, verdict, wishes, seed).plan()


def _must_test_first(case: Situation, kinds: set[str]) -> bool:
    """Nothing is added where readings do not fit, a wait runs, or the sanitizer has no valid reading."""
    unread = case.last_valid(case.sanitizer_quantity) is None
    return unread or bool(kinds & {"readings-do-not-fit", "wait-running", "monopersulfate-window"})


def _stop(case: Situation, verdict: Verdict, wishes: Wishes, seed: int, situation: str) -> Plan:
    """Keep out and test again: no dose."""
    wait = max((case.wait_until - case.now).total_seconds() / 60.0, 0.0)
    if case.in_monopersulfate_window:
        wait = max(wait, case.monopersulfate_minutes)
    quantities = (case.sanitizer_quantity, Quantity.PH)
    steps = [Step(StepKind.KEEP_OUT, reasons=verdict.reasons)]
    if wait > 0.0:
        steps.append(Step(StepKind.WAIT, minutes=wait, reasons=(Reason("wait-it-out"),)))
    starts = wait
    steps.append(Step(StepKind.TEST, minutes=2.0, quantities=quantities, reasons=verdict.changes, starts_at=starts))
    end = Beside(case, seed=seed).expect(*quantities)
    again = case.now + timedelta(minutes=wait + 2.0)
    return Plan(
        begins=case.now,
        situation=situation,
        verdict=verdict,
        steps=tuple(steps),
        after_soak=None,
        end=end,
        low_point=(),
        fit_when=(Reason("fit-after-test", _test_values(case, again.isoformat(timespec="minutes"))),),
        next_visit=again,
        outcome=None,
        refused=_refused(case),
        seed=seed,
        ensemble=case.belief.size,
    )


def _test_values(case: Situation, at: str) -> dict[str, float | str]:
    sanitizer, ph = case.limits(case.sanitizer_quantity), case.limits(Quantity.PH)
    return {
        "time": at,
        "quantity": str(case.sanitizer_quantity),
        "low": sanitizer.bathing_low,
        "high": sanitizer.bathing_high,
        "ph_low": ph.bathing_low,
        "ph_high": ph.bathing_high,
    }


def _refused(case: Situation) -> tuple[Reason, ...]:
    return tuple(Reason(kind, {"product": product.name}) for product, kind in others(case.shelf, case.tub))


class _Visit:
    """Builds one plan; the clock runs in minutes from its begin."""

    def __init__(self, case: Situation, verdict: Verdict, wishes: Wishes, seed: int) -> None:
        self.case, self.verdict, self.wishes, self.seed = case, verdict, wishes, seed
        self.kit: Kit = kit_of(case)
        self.litres = float(np.median(case.rates.litres))
        self.beside = Beside(case, seed=seed)
        self.steps: list[Step] = []
        self.clock = 0.0
        self.last_wait = 0.0
        self.notes: list[Reason] = []

    def plan(self) -> Plan:
        """The whole plan."""
        low, high = self._reading()
        limits = self.case.limits(self.case.sanitizer_quantity)
        self.recovery = high < limits.keep_out_low or "lapse" in {r.kind for r in self.verdict.reasons}
        self.high = low > limits.keep_out_high
        rng = np.random.default_rng([self.seed, 11])
        decision = decide(self.case, self.kit, self.wishes, rng, self._fixed())
        self._begin()
        self._doses(decision)
        self._feeder(decision)
        self._close()
        return self._packed(decision)

    def _reading(self) -> tuple[float, float]:
        reading = self.case.last_valid(self.case.sanitizer_quantity)
        assert reading is not None
        return self.case.standard(reading)

    def _fixed(self) -> dict[str, float]:
        if self.high:
            return {"oxidizer": 0.0, "tablet_grams": 0.0}
        if self.recovery:
            return {"oxidizer": oxidizer_to(self.case, self.kit, _SHOCK)}
        return {}

    def _begin(self) -> None:
        if self.verdict.kind is not VerdictKind.FIT or self.recovery:
            self._add(Step(StepKind.KEEP_OUT, reasons=self.verdict.reasons))
        stir = () if self.case.tub.equipment.pump else (Reason("stir-by-hand"),)
        self._add(Step(StepKind.PREPARE, minutes=2.0, reasons=stir, cautions=("nobody-in", "adult-stays")))
        if self.recovery:
            self._add(Step(StepKind.CLEAN, minutes=5.0, cautions=("electric-off",)))

    def _doses(self, decision: Decision) -> None:
        names = ("acid", "bicarbonate", "soda_ash", "oxidizer")
        order: tuple[str, ...] = ("oxidizer", *names[:3]) if self.recovery else names
        if self.wishes.minutes is not None and self.wishes.minutes < _SHORT_VISIT and decision.levers["oxidizer"] > 0.0:
            order = ("oxidizer",)  # alkalinity and pH can wait for the next visit, people without sanitizer cannot
        for name in order:
            product: Product | None = getattr(self.kit, name)
            if product is not None and decision.levers[name] > 0.0:
                self._dose(name, product, decision.levers[name])

    def _dose(self, name: str, product: Product, grams: float) -> None:
        """An addition in as many parts as its cap asks for, each checked before it is written down."""
        composition = self.case.products.compositions[product.name]
        high = max(self.case.limits(self.case.sanitizer_quantity).bathing_high, _SHOCK)
        if self.recovery and name == "oxidizer":
            high *= 1.3  # a declared recovery, which ends in keep out until tested
        parts: list[float] = []
        left = grams
        before = self.beside.state
        for _ in range(3):
            part = largest_allowed(self.beside, product, composition, left, self.litres, high)
            if part <= 0.0:
                break
            parts.append(part)
            self._spaced()
            self.beside.state = self.beside.dosed(composition, part, measure_spread(product))
            self._written(name, product, part, len(parts))
            left -= part
        self.steps = [replace(s, parts=len(parts)) if _is(s, product) else s for s in self.steps]
        if parts:
            self._retest(name, before)

    def _spaced(self) -> None:
        """The wait since the last addition."""
        if self.last_wait > 0.0:
            self.beside.state = self.beside.later(self.beside.state, self.last_wait)
            self._add(Step(StepKind.WAIT, minutes=self.last_wait, reasons=(Reason("mix-first"),)))
            self.last_wait = 0.0

    def _written(self, name: str, product: Product, grams: float, part: int) -> None:
        quantity = self.case.sanitizer_quantity if name == "oxidizer" else Quantity.TOTAL_ALKALINITY
        substance = substance_of(product)
        kind = "recover-sanitizer" if self.recovery and name == "oxidizer" else _REASONS[name]
        step = Step(
            StepKind.DOSE,
            amount=amount_of(product, grams, down=True),
            minutes=2.0,
            part=part,
            expected=self.beside.expect(Quantity.PH, quantity),
            reasons=(Reason(kind),),
            cautions=substance.cautions,
        )
        self._add(step)
        slow = 1.0 if self.case.tub.equipment.pump else 2.0
        self.last_wait = slow * max(substance.minutes, defaults()["mix_minutes"].value)

    def _retest(self, name: str, before: object) -> None:
        """A retest where the keeper's own method can see the change in pH."""
        reading = self.case.last_valid(Quantity.PH)
        if name == "oxidizer" or reading is None:
            return
        was = float(np.median(self.case.state.ph))
        now = float(np.median(self.beside.state.ph))
        if distinguishes(reading.method, Quantity.PH, was, now) < 1.5:
            return
        self._spaced()
        expected = self.beside.expect(Quantity.PH)
        self._add(
            Step(
                StepKind.TEST,
                minutes=2.0,
                quantities=(Quantity.PH,),
                expected=expected,
                reasons=(Reason("retest-tells"),),
            )
        )

    def _feeder(self, decision: Decision) -> None:
        if self.kit.tablet is None:
            return
        tablets = round(decision.levers["tablet_grams"] / self.kit.tablet_grams)
        opening = decision.levers["opening"] if tablets else 0.0
        self._spaced()
        step = Step(
            StepKind.SET_FEEDER,
            amount=replace(
                amount_of(self.kit.tablet, tablets * self.kit.tablet_grams), count=float(tablets), measure="tablet"
            ),
            minutes=3.0,
            tablets=float(tablets),
            opening=opening,
            reasons=(Reason("feeder-holds"),),
            cautions=substance_of(self.kit.tablet).cautions,
        )
        self._add(step)

    def _close(self) -> None:
        self._spaced()
        self._add(Step(StepKind.VENT, minutes=_VENT_MINUTES, reasons=(Reason("vent-first"),)))
        self._add(Step(StepKind.COVER, minutes=1.0, cautions=("cover-locked",)))
        minutes = self.wishes.minutes
        if minutes is not None and self.clock > minutes:
            values: dict[str, float | str] = {"minutes": minutes, "needed": self.clock}
            by = self.wishes.later_by
            reasons = (Reason("minutes-end", values),)
            self._add(Step(StepKind.HAND_OVER, by=by, quantities=self._bathing(), reasons=reasons))

    def _bathing(self) -> tuple[Quantity, ...]:
        return (self.case.sanitizer_quantity, Quantity.PH)

    def _add(self, step: Step) -> None:
        self.steps.append(replace(step, starts_at=self.clock))
        self.clock += step.minutes

    def _packed(self, decision: Decision) -> Plan:
        case = self.case
        oxidized = any(
            s.amount and self.kit.oxidizer and s.amount.product == self.kit.oxidizer.name for s in self.steps
        )
        wait = case.monopersulfate_minutes if oxidized and self._is_monopersulfate() else 20.0
        again = case.now + timedelta(minutes=self.clock + wait)
        dosed = any(s.kind is StepKind.DOSE for s in self.steps)
        fit = Reason("fit-after-test", _test_values(case, again.isoformat(timespec="minutes")))
        if self.wishes.guests_at is not None and again > self.wishes.guests_at:
            self.notes.append(Reason("not-ready-in-time", {"time": again.isoformat(timespec="minutes")}))
        if self.verdict.kind is VerdictKind.FIT and not dosed:
            fit = Reason("fit-now", {"until": self.verdict.good_until.isoformat(timespec="minutes")})
        more = (Reason("two-good-readings"),) if self.recovery else ()
        return Plan(
            begins=case.now,
            situation="recovery" if self.recovery else "in-use",
            verdict=self.verdict,
            steps=tuple(self.steps),
            after_soak=self._after_soak(decision),
            end=self.beside.expect(case.sanitizer_quantity, Quantity.PH, Quantity.TOTAL_ALKALINITY),
            low_point=(_spread(case.sanitizer_quantity, decision.lived.lowest),),
            fit_when=(fit, *more),
            next_visit=case.now + timedelta(days=self.wishes.days),
            outcome=_outcome(case, decision.lived, decision.without),
            notes=tuple(self.notes),
            refused=_refused(case),
            shopping=self._shopping(),
            seed=self.seed,
            ensemble=case.belief.size,
        )

    def _is_monopersulfate(self) -> bool:
        return self.kit.oxidizer is not None and self.kit.oxidizer.substance == "monopersulfate"

    def _after_soak(self, decision: Decision) -> AfterSoak | None:
        grams = decision.levers["after_soak"]
        if self.kit.oxidizer is None or grams <= 0.0:
            return None
        wait = self.case.monopersulfate_minutes if self._is_monopersulfate() else 20.0
        return AfterSoak(
            amount=amount_of(self.kit.oxidizer, grams),
            wait_minutes=wait,
            daily_cap_grams=min(25.0 * self.litres / 1000.0, 6.0 * grams),
            reasons=(Reason("after-soak"),),
            cautions=substance_of(self.kit.oxidizer).cautions,
        )

    def _shopping(self) -> tuple[Reason, ...]:
        wanted = [n for n in _NEEDED if n != "tablet" or self.case.tub.sanitizer is Sanitizer.BROMINE]
        missing = [name for name in wanted if getattr(self.kit, name) is None]
        return tuple(Reason("buy", {"product": _NEEDED[name]}) for name in missing)


def _is(step: Step, product: Product) -> bool:
    return step.kind is StepKind.DOSE and step.amount is not None and step.amount.product == product.name


def _spread(quantity: Quantity, values: np.ndarray) -> Expectation:
    low, median, high = np.quantile(values, (0.05, 0.5, 0.95))
    return Expectation(quantity, float(median), float(low), float(high))


def _outcome(case: Situation, lived: Lived, without: Lived) -> Outcome:
    shares = {
        case.sanitizer_quantity: float(lived.sanitizer_in.mean()),
        Quantity.PH: float(lived.ph_in.mean()),
        Quantity.TOTAL_ALKALINITY: float(lived.alkalinity_in.mean()),
    }
    return Outcome(
        in_band=float(lived.in_band.mean()),
        in_band_without_plan=float(without.in_band.mean()),
        below_limit=float(lived.below.mean()),
        above_limit=float(lived.above.mean()),
        band_by_quantity=shares,
    )
