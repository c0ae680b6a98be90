"""A plan as it is written down: steps one after another, with their waits, inside every limit.

The clock runs in minutes from the plan's begin; the believed tubs move through the full chemistry along with it.
"""

from __future__ import annotations

import copy
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from tubwater.advice.aeration import aerated, air_minutes, has_air
from tubwater.advice.beside import Beside
from tubwater.advice.care import fitting, task_step
from tubwater.advice.heating import celsius_of, heated, warmed
from tubwater.advice.measures import amount_of, grams_floor, measure_spread, smallest
from tubwater.advice.mixing import mixing_factor, mixing_minutes, reaction_minutes
from tubwater.advice.now import Situation, substance_of
from tubwater.advice.safety import SCALE_HIGH, allowed, cap_grams, largest_allowed
from tubwater.facts import CareStep, Role, defaults
from tubwater.facts.quantity import Quantity
from tubwater.measurement import distinguishes
from tubwater.tub import Expectation, Product, Reason, Step, StepKind, as_kept

__all__ = ["MOST_PARTS", "Timeline"]

MOST_PARTS = 3
_LEAST_PART = 0.4  # of the first part; a smaller rest is not worth its wait (judgement)
_PUMP_OFF_MINUTES = 15.0  # of a visit for care with the pump off (judgement)
_COLD = 20.0  # degC; below it granules dissolve slowly
_AS_WARM = 1.0  # K
_TELLS = 1.5  # one-sigma of the keeper's method by which a change must differ to be worth a retest


class Timeline:
    """Builds the steps of one plan."""

    def __init__(self, case: Situation, seed: int, tasks: Sequence[CareStep] = ()) -> None:
        self.case, self.seed = case, seed
        self.beside = Beside(case, seed=seed)
        self.litres = float(np.median(case.rates.litres))
        self.steps: list[Step] = []
        self.clock = 0.0
        self._owed_wait = 0.0
        self._tasks = list(tasks)

    @property
    def celsius(self) -> float:
        """Temperature of the water as it now is, degC."""
        return celsius_of(self.beside)

    @property
    def reaction_minutes(self) -> float:
        """How long monopersulfate needs in the water as it now is."""
        return reaction_minutes(self.beside.state, self.beside.rates)

    def add(self, step: Step) -> None:
        """Write a step down; the clock moves by its minutes."""
        self.steps.append(replace(step, starts_at=self.clock))
        self.clock += step.minutes

    def prepare(self) -> None:
        """Water moving, cover open, nobody in."""
        stir = () if self.case.tub.equipment.pump else (Reason("stir-by-hand"),)
        cold = (Reason("still-cold", {"temperature": self.celsius}),) if self._cold else ()
        self.add(Step(StepKind.PREPARE, minutes=2.0, reasons=(*stir, *cold), cautions=("nobody-in", "adult-stays")))

    @property
    def _cold(self) -> bool:
        """On the way to the tub's temperature."""
        return self.celsius < self.case.tub.temperature - _AS_WARM

    @property
    def _as_warm(self) -> Beside:
        """The same waters as they will be once heated: what goes into cold water must hold there as well."""
        return warmed(self.beside, self.case.tub.temperature)

    def heat(self, celsius: float, minutes: float, *reasons: Reason, cautions: Sequence[str] = ()) -> None:
        """The water is brought to ``celsius`` under the cover."""
        self.settle()
        self.beside = heated(self.beside, celsius, minutes)
        self.add(Step(StepKind.HEAT, minutes=minutes, reasons=reasons, cautions=tuple(cautions)))

    def aerate(self, goal: float, reason: Reason, scale_most: float = SCALE_HIGH) -> float:
        """Air until the middle of the believed pH is at ``goal``; the minutes, 0 where there is none or no need."""
        if not has_air(self.case.tub.equipment):
            return 0.0
        self.settle()
        minutes = air_minutes(self.beside, goal, scale_most=scale_most)
        if minutes > 0.0:
            self.beside.state = aerated(self.beside, self.beside.state, minutes)
            expected = self.beside.expect(Quantity.PH, Quantity.TOTAL_ALKALINITY)
            cautions = ("nobody-in", "adult-stays")
            self.add(Step(StepKind.AERATE, minutes=minutes, expected=expected, reasons=(reason,), cautions=cautions))
        return minutes

    def stop_feeding(self) -> None:
        """No tablet gives off anything from now on."""
        zero = np.zeros_like(self.beside.state.ph)
        self.beside.state = replace(self.beside.state, tablet_grams=zero, tablet_count=zero)

    def care_first(self, minutes: float | None) -> None:
        """Short care with the pump off that is due, before the water is moved, where the plan leaves time for it.

        ``minutes``: that the keeper has, None for no limit.
        """
        at = next((n for n, step in enumerate(self.steps) if step.kind is StepKind.PREPARE), None)
        if at is None:
            return
        room = _PUMP_OFF_MINUTES if minutes is None else min(minutes - self.clock, _PUMP_OFF_MINUTES)
        start = self.steps[at].starts_at
        taken = fitting(self._tasks, room, pump_off=True)
        begins = [start + sum(t.minutes for t in taken[:n]) for n in range(len(taken))]
        spent = sum(task.minutes for task in taken)
        first = [task_step(task, begin) for task, begin in zip(taken, begins, strict=True)]
        self.steps[at:] = first + [replace(s, starts_at=s.starts_at + spent) for s in self.steps[at:]]
        self.clock += spent

    def clean(self) -> None:
        """Filter and waterline, with the pump off."""
        self._tasks = [t for t in self._tasks if t.key not in ("rinse-filter", "wipe-waterline")]
        self.add(Step(StepKind.CLEAN, minutes=5.0, cautions=("electric-off",)))

    def settle(self) -> None:
        """The wait that the last addition still needs, filled with care that is due."""
        if self._owed_wait > 0.0:
            self.wait(self._owed_wait, Reason("mix-first"))

    def react(self, reason: Reason) -> None:
        """The time that monopersulfate needs: open until it has mixed, the rest of it under the cover."""
        rest = as_kept(self.reaction_minutes - self._owed_wait)
        self.settle()
        if rest > 0.0:
            self.wait(rest, reason, covered=True)

    def wait(self, minutes: float, reason: Reason, covered: bool = False) -> None:
        """Time passes; ``covered`` with the cover on, otherwise circulating with it open."""
        self._owed_wait = 0.0
        self.beside.state = self.beside.later(self.beside.state, minutes, covered)
        start = self.clock
        self.add(Step(StepKind.WAIT, minutes=minutes, reasons=(reason,), covered=covered))
        if covered:
            return
        for task in fitting(self._tasks, minutes):
            self.steps.append(task_step(task, start))
            start += task.minutes

    def dose(
        self,
        product: Product,
        grams: float,
        reason: Reason,
        shows: Quantity,
        sanitizer_high: float,
        parts: int = MOST_PARTS,
        least: float = 0.0,
    ) -> float:
        """An addition in as many parts as its cap asks for, each inside the limits; the grams given.

        ``parts``: at most so many. ``least``: a first part below so many grams is not worth it.
        """
        composition = self.case.products.compositions[product.name]
        begin, given = len(self.steps), [0.0]
        for _ in range(parts):
            left = grams - sum(given)
            if not any(self._worth(part, given, least) for part in self._parts(product, left, sanitizer_high)):
                break
            self.settle()
            part = self._part(product, left, sanitizer_high)
            if not self._worth(part, given, least):
                break
            given.append(part)
            self.beside.state = self.beside.dosed(composition, part, measure_spread(product))
            self._write_dose(product, part, len(given) - 1, reason, shows)
        new = [replace(s, parts=len(given) - 1) if _adds(s, product) else s for s in self.steps[begin:]]
        self.steps[begin:] = new
        return sum(given)

    def _parts(self, product: Product, grams: float, sanitizer_high: float) -> Iterator[float]:
        """What may go in now, g, and what once the wait that is owed is over."""
        yield self._part(product, grams, sanitizer_high)
        if self._owed_wait > 0.0:
            now = self.beside.state
            self.beside.state = self.beside.later(now, self._owed_wait)
            part = self._part(product, grams, sanitizer_high)
            self.beside.state = now
            yield part

    @staticmethod
    def _worth(part: float, given: list[float], least: float) -> bool:
        return part > 0.0 and part >= (least if len(given) == 1 else _LEAST_PART * given[1])

    def _part(self, product: Product, grams: float, sanitizer_high: float) -> float:
        """The largest measurable part that may go in now, g; the bromide bank goes in whole."""
        composition = self.case.products.compositions[product.name]
        if Role.BROMIDE_BANK in substance_of(product).roles:  # a neutral salt: it moves the pH by hundredths
            return grams_floor(product, min(grams, cap_grams(product, self.litres)))
        found = largest_allowed(self.beside, product, composition, grams, self.litres, sanitizer_high)
        if found > 0.0 and self._cold and composition.oxidant <= 0.0:
            found = largest_allowed(self._as_warm, product, composition, found, self.litres, sanitizer_high)
        return found

    def given(self, product: Product) -> float:
        """All of a product that goes in, g."""
        return sum(s.amount.grams for s in self.steps if s.amount and s.amount.product == product.name)

    def fits(self, product: Product, grams: float, sanitizer_high: float) -> bool:
        """Whether so much of a product may go in as the water now is."""
        composition, spread = self.case.products.compositions[product.name], measure_spread(product)
        return allowed(self.beside, self.beside.dosed(composition, grams, spread), sanitizer_high)

    def room(self, product: Product, grams: float, sanitizer_high: float) -> float:
        """How much of a product, up to ``grams``, may go in at once as the water now is, g."""
        composition = self.case.products.compositions[product.name]
        return largest_allowed(self.beside, product, composition, grams, self.litres, sanitizer_high)

    def too_coarse(self, product: Product, sanitizer_high: float) -> bool:
        """Whether the smallest measure of an oxidizer is too much: above its cap, or above the sanitizer's limit."""
        grams = smallest(product)
        after = self.beside.dosed(self.case.products.compositions[product.name], grams, 0.0)
        observer = self.beside.observer(after)
        made = np.median(observer.read(self.case.sanitizer_quantity) + observer.monopersulfate)
        return grams > cap_grams(product, self.litres) or float(made) > sanitizer_high

    def fits_after(self, first: Product, grams: float, then: Product, then_grams: float, sanitizer_high: float) -> bool:
        """Whether ``then_grams`` of another product may go in once ``grams`` of the first have mixed."""
        beside = copy.copy(self.beside)
        dosed = beside.dosed(self.case.products.compositions[first.name], grams, measure_spread(first))
        beside.state = beside.later(dosed, defaults()["mix_minutes"].value * mixing_factor(self.case.tub))
        after = beside.dosed(self.case.products.compositions[then.name], then_grams, measure_spread(then))
        return allowed(beside, after, sanitizer_high)

    def nearest(self, product: Product, grams: float) -> float:
        """The nearest measurable amount, g."""
        return grams_floor(product, grams + 0.5 * smallest(product))

    def _write_dose(self, product: Product, grams: float, part: int, reason: Reason, shows: Quantity) -> None:
        substance = substance_of(product)
        step = Step(
            StepKind.DOSE,
            amount=amount_of(product, grams, down=True),
            minutes=2.0,
            part=part,
            expected=self._expected(product, shows),
            reasons=(reason,),
            cautions=substance.cautions,
        )
        self.add(step)
        cold = defaults()["mixing_factor_cold"].value if self.celsius < _COLD else 1.0
        self._owed_wait = mixing_minutes(self.case.tub, product, cold)

    def _expected(self, product: Product, shows: Quantity) -> tuple[Expectation, ...]:
        """What a test reads once the addition has mixed, and monopersulfate reacted."""
        state = self.beside.state
        if product.substance == "monopersulfate":
            state = self.beside.later(state, self.reaction_minutes, covered=True)
        other = Quantity.TOTAL_ALKALINITY if shows is Quantity.PH else shows
        return self.beside.expect(Quantity.PH, other, state=state)

    def test(self, quantities: Sequence[Quantity], *reasons: Reason) -> None:
        """A test, after the wait that is owed, with what it should read."""
        self.settle()
        expected = self.beside.expect(*quantities)
        self.add(Step(StepKind.TEST, minutes=2.0, quantities=tuple(quantities), expected=expected, reasons=reasons))

    def tells(self, product: Product, grams: float) -> bool:
        """Whether the keeper's own pH test could see what ``grams`` of a product do."""
        reading = self.case.last_valid(Quantity.PH)
        if reading is None:
            return False
        after = self.beside.dosed(self.case.products.compositions[product.name], grams, 0.0)
        was, now = float(np.median(self.beside.ph())), float(np.median(after.ph))
        return distinguishes(reading.method, Quantity.PH, was, now) >= _TELLS

    def close(self) -> None:
        """Vent, then cover and lock; the wait that is owed airs the tub as well."""
        vent = defaults()["vent_minutes"].value
        rest, self._owed_wait = self._owed_wait - vent, 0.0
        if rest > 0.0:
            self.wait(rest, Reason("mix-first"))
        self.beside.state = self.beside.later(self.beside.state, vent)
        self.add(Step(StepKind.VENT, minutes=vent, reasons=(Reason("vent-first"),)))
        self.cover()

    def cover(self) -> None:
        """The cover goes on."""
        self.add(Step(StepKind.COVER, minutes=1.0, cautions=("cover-locked",)))


def _adds(step: Step, product: Product) -> bool:
    return step.kind is StepKind.DOSE and step.amount is not None and step.amount.product == product.name
