"""One answer as the rules see it: tub, logbook, verdict, plan, and the plan's steps replayed.

The predicted water is worked out here once more: the steps of a plan are replayed on the believed members with
the full equilibrium of ``tubwater.chemistry``; the limits are read from the readings as they were entered.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from advice.strategies import NOW, Drawn
from tubwater.advice import Situation, Wishes, judge, make_plan
from tubwater.belief.window import mapped
from tubwater.chemistry import Composition, dose, equilibrate, monopersulfate_rate
from tubwater.dynamics import Mode, Rates, TubState, advance, refill, soak
from tubwater.facts import Role, substances
from tubwater.facts.quantity import OxidantScale, Quantity
from tubwater.services import case_of
from tubwater.tub import (
    Answer,
    Event,
    Noticed,
    Plan,
    Product,
    Reading,
    Sanitizer,
    Sign,
    Step,
    StepKind,
    Verdict,
    VerdictKind,
)
from tubwater.tub import Tested as Readings

__all__ = [
    "ADDS",
    "BALANCE",
    "BANNED_SIGNS",
    "BR2",
    "CACO3",
    "CL2",
    "DECLARED",
    "MEASURED",
    "MEMBERS",
    "PH_SLACK",
    "REPEATS",
    "SCALE_SLACK",
    "SPACING",
    "Answered",
    "Array",
    "Look",
    "answered",
    "look_at",
    "standard",
    "tails",
    "with_events",
]

Array = NDArray[np.float64]
MEMBERS = 64
REPEATS = 4  # of each member in a replay, with other errors of the measures: one draw of them is ragged
BR2, CL2, CACO3 = 159.808, 70.906, 50.0435  # g per mol of halogen(+1); g of CaCO3 per eq
PH_SLACK = SCALE_SLACK = 0.05  # 64 members have ragged tails
MEASURED = 0.2  # and doses an error of up to a fifth, which is drawn anew here
DECLARED = {
    "after-so-many",
    "recover-sanitizer",
    "rest-of-shock",
    "shock-it",
    "disinfect-fill",
    "weekly-shock",
    "activate-bank",
    "first-chlorine",
    "sanitize-while-heating",
}
ADDS = (StepKind.DOSE, StepKind.SET_FEEDER)
BANNED_SIGNS = frozenset(Sign) - {Sign.PURPLE_INDICATOR}
BALANCE = {Role.LOWER_PH, Role.RAISE_ALKALINITY, Role.RAISE_PH}
SPACING = 20.0  # min between two additions (common practice)


@dataclass(frozen=True, eq=False)
class Look:
    """What the believed waters are at one moment of a plan, each of shape (members,).

    Attributes:
        sanitizer: on the tub's own scale, mg/L. oxidant: with what unreacted monopersulfate will make of it, less what
            takes halogen at once.
    """

    step: Step | None
    ph: Array
    calcite: Array
    sanitizer: Array
    oxidant: Array


@dataclass(frozen=True, eq=False)
class Answered:
    """One case with the answers to it."""

    drawn: Drawn
    case: Situation
    verdict: Verdict
    plan: Plan
    bathed: tuple[float, float] | None = None  # people and minutes that the plan counts on

    @property
    def fit(self) -> bool:
        return self.verdict.kind is VerdictKind.FIT

    @property
    def additions(self) -> list[Step]:
        return [s for s in self.plan.steps if s.kind in ADDS and (s.kind is StepKind.DOSE or s.tablets > 0.0)]

    @property
    def doses(self) -> list[Step]:
        return [s for s in self.plan.steps if s.kind is StepKind.DOSE]

    @property
    def shelf(self) -> dict[str, Product]:
        return {product.name: product for product in self.drawn.shelf.products}

    def product(self, step: Step) -> Product:
        assert step.amount is not None
        return self.shelf[step.amount.product]

    def composition(self, product: Product) -> Composition:
        assert product.strength is not None
        return substances()[product.substance].composition.scaled(product.strength)

    @property
    def litres(self) -> float:
        return float(np.median(self.case.rates.litres))

    @property
    def sanitizer(self) -> Quantity:
        return Quantity.BROMINE if self.drawn.tub.sanitizer is Sanitizer.BROMINE else Quantity.FREE_CHLORINE

    def newest(self, quantity: Quantity) -> Reading | None:
        rows = [r for e in self.drawn.events if isinstance(e, Readings) for r in e.readings if r.quantity is quantity]
        return max(rows, key=lambda r: r.at) if rows else None

    @property
    def look(self) -> Noticed | None:
        looks = [e for e in self.drawn.events if isinstance(e, Noticed)]
        return max(looks, key=lambda e: e.at) if looks else None

    @cached_property
    def replayed(self) -> list[tuple[Look, Look]]:
        """The waters just before and just after each addition; the last pair is the begin and the end."""
        return list(_replay(self))


def answered(askings: Sequence[Drawn]) -> Iterator[Answered]:
    """The answers to one logbook, by a small planner through the same code as any other.

    A look that knows of every soak leaves the water as it is believed, so the askings share that belief.
    """
    shared: Situation | None = None
    for drawn in askings:
        quiet = all(e.unlogged_soak is Answer.NO for e in drawn.events if isinstance(e, Noticed))
        if shared is None or not quiet:
            case = case_of(drawn.tub, drawn.shelf, drawn.events, NOW, drawn.seed, MEMBERS)
            shared = case if quiet else shared
        else:
            case = with_events(shared, drawn.events)
        yield Answered(drawn, case, judge(case), make_plan(case, _wishes(drawn), drawn.seed + drawn.ask))


def with_events(case: Situation, events: Sequence[Event]) -> Situation:
    """The same believed water, with another look at it."""
    return replace(case, belief=replace(case.belief, events=tuple(sorted(events, key=lambda e: e.at))))


def _wishes(drawn: Drawn) -> Wishes:
    guests = None if drawn.guests_in is None else NOW + timedelta(hours=drawn.guests_in)
    return Wishes(drawn.minutes, drawn.days, "somebody", guests, drawn.occasion)


def _replay(a: Answered) -> Iterator[tuple[Look, Look]]:
    state, rates = (mapped(lambda values: np.tile(values, REPEATS), tree) for tree in (a.case.state, a.case.rates))
    rng = np.random.default_rng(a.drawn.seed)
    begin, owed = look_at(a, state, None), 0.0
    yielded: Look | None = begin
    if a.bathed and not any(_bathes(step) for step in a.plan.steps):
        state, yielded = _soaked(a.bathed, state, rates), None
    for step in a.plan.steps:
        if step.kind is StepKind.FILL and not step.partial:  # of a partial change, the drain brings in the new water
            zero = np.zeros_like(state.ph)
            state, owed, yielded = TubState(rates.fill, zero, zero, zero, zero + 7.5), 0.0, None
        elif step.kind in (*ADDS, StepKind.DRAIN):
            state = _later(a, state, owed, rates)
            before = look_at(a, state, None) if yielded is None else yielded
            yielded, owed = None, 0.0
            state = _done(a, state, step, rates, rng)
            yield before, look_at(a, state, step)
        elif step.kind is StepKind.PREPARE and _told(step, "temperature") is not None:
            state, rates = _at(state, rates, _told(step, "temperature"))
            owed += step.minutes
        elif step.kind is StepKind.AERATE:
            state = _later(a, state, owed, rates)
            state = advance(state, rates, step.minutes / 60.0, Mode.SOAKING, a.case.products.tablet)
            yielded, owed = None, 0.0
        elif step.covered or step.kind is StepKind.HEAT:
            state = _later(a, state, owed, rates)
            state = advance(state, rates, step.minutes / 60.0, Mode.COVERED, a.case.products.tablet)
            state, rates = _at(state, rates, _told(step, "to") or _told(step, "temperature"))
            yielded, owed = None, 0.0
        elif not step.task:
            owed += step.minutes
            yielded = None
        if a.bathed and _bathes(step):
            state, owed = _soaked(_group(step) or a.bathed, _later(a, state, owed, rates), rates), 0.0
    yield begin, look_at(a, _later(a, state, owed, rates), None)


def _bathes(step: Step) -> bool:
    return _group(step) is not None


def _group(step: Step) -> tuple[float, float] | None:
    """People and minutes of a step in which some bathe."""
    told = [r.values for r in step.reasons if r.kind in ("party-runs", "party-runs-one")]
    return (float(told[0]["people"]), float(told[0]["minutes"])) if told else None


def _soaked(bathed: tuple[float, float], state: TubState, rates: Rates) -> TubState:
    """After the people whom the plan counts on."""
    people, minutes = bathed
    return soak(state, rates, people * minutes / 60.0, people)


def _later(a: Answered, state: TubState, minutes: float, rates: Rates) -> TubState:
    return advance(state, rates, minutes / 60.0, Mode.CIRCULATING, a.case.products.tablet)


def _told(step: Step, name: str) -> float | None:
    """A number that a step gives among its reasons: the temperature that it finds, or heats to, degC."""
    return next((float(r.values[name]) for r in step.reasons if name in r.values), None)


def _at(state: TubState, rates: Rates, celsius: float | None) -> tuple[TubState, Rates]:
    """The same water at another temperature, where monopersulfate works at another speed."""
    if celsius is None:
        return state, rates
    faster = monopersulfate_rate(celsius) / monopersulfate_rate(state.water.temperature)
    water = state.water.replaced(temperature=celsius)
    return replace(state, water=water), replace(rates, monopersulfate_rate=rates.monopersulfate_rate * faster)


def _done(a: Answered, state: TubState, step: Step, rates: Rates, rng: np.random.Generator) -> TubState:
    if step.kind is StepKind.DRAIN:
        return refill(state, rates, step.litres / rates.litres)
    product = a.product(step)
    assert step.amount is not None
    if step.kind is StepKind.SET_FEEDER:
        grams = np.full(state.ph.shape, step.amount.grams)
        return replace(state, tablet_grams=grams, tablet_count=grams / 20.0, opening=np.full_like(grams, step.opening))
    spread = product.measures[0].spread if product.measures else 0.02
    grams = step.amount.grams * np.exp(spread * rng.standard_normal(state.ph.shape))
    return replace(state, water=dose(state.water, a.composition(product), grams, rates.litres))


def look_at(a: Answered, state: TubState, step: Step | None) -> Look:
    solved = equilibrate(state.water, start_ph=state.ph)
    molar = BR2 if a.sanitizer is Quantity.BROMINE else CL2
    per_kg = molar * 1000.0 * 0.993
    halogen = (state.water.bromine + state.water.chlorine) * per_kg
    later = np.maximum((state.water.monopersulfate - state.water.reductant) * per_kg, 0.0)
    return Look(step, solved.ph, solved.si_calcite, halogen, halogen + later)


def standard(a: Answered, reading: Reading) -> tuple[float, float]:
    """Both ends of what was read, on the tub's own scale."""
    factor = 1.0
    if reading.quantity is Quantity.BROMINE and reading.scale is OxidantScale.AS_CL2:
        factor = BR2 / CL2
    return reading.low * factor, reading.high * factor


def tails(values: Array) -> tuple[float, float]:
    low, high = np.quantile(values, (0.05, 0.95))
    return float(low), float(high)
