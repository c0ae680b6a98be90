"""Where the water is going: the belief carried on hour by hour through soaks that may come.

Every member has its own tub and its own coming soaks; the bands are quantiles over the members, so that they hold
the doubt of the water, of the tub and of what people will do.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from tubwater.advice.evenings import evenings, taken_share
from tubwater.advice.now import Situation
from tubwater.belief import fed
from tubwater.chemistry import INDEX, FrozenBuffer, dose, freeze, mg_per_litre
from tubwater.dynamics import Mode, Rates, TubState, advance, soak, top_up
from tubwater.facts import Limits, defaults, methods
from tubwater.facts.quantity import OxidantScale, Quantity
from tubwater.measurement import ReadingContext, log_likelihood
from tubwater.tub import Reading, Reason, Sanitizer

__all__ = ["LEVELS", "SATURATION", "NextTest", "Outlook", "Scenario", "look_ahead"]

Array = NDArray[np.float64]
LEVELS = (0.05, 0.25, 0.5, 0.75, 0.95)
SATURATION = "saturation index"
_MEMBERS = 300
_EVENING = 20  # o'clock, when people bathe where nothing else is said (judgement)
_SCALE_HIGH = 0.3  # calcite saturation index from which scale is likely (judgement)
_HYPOTHETICAL = 24  # readings tried for what a test would tell


@dataclass(frozen=True)
class Scenario:
    """What is assumed of the coming days; the defaults are the tub's ordinary life.

    Attributes:
        party_at, party_people, party_minutes: one large soak, or None.
        away_from, away_until: nobody bathes in between, or None.
        opening, tablets: the feeder from now on, or None as it is.
        after_soak_product, after_soak_grams: given after a soak, g per person-half-hour; "" for nothing.
        test_now: key of a method with which the water is tested now, "" for no test.
    """

    party_at: datetime | None = None
    party_people: float = 0.0
    party_minutes: float = 60.0
    away_from: datetime | None = None
    away_until: datetime | None = None
    opening: float | None = None
    tablets: float | None = None
    after_soak_product: str = ""
    after_soak_grams: float = 0.0
    test_now: str = ""


@dataclass(frozen=True)
class NextTest:
    """When the verdict could no longer be *fit* without another test, and why; ``at`` is now where it already is so."""

    at: datetime
    reason: Reason


@dataclass(frozen=True, eq=False)
class Outlook:
    """The coming days.

    Attributes:
        times: of the hours, H. bands: by quantity (and ``SATURATION``) the ``LEVELS``, (5, H).
        in_band: probability that all is in band, (H,). in_bands: the same for each quantity.
        falls_likely, falls_maybe: when the sanitizer is below its bathing limit with 50 and with 5 in 100, or None.
        next_test: when to test again. test_holds: hours that a test with the scenario's method would hold, median, or
            None without one. scenario: what was assumed.
    """

    times: tuple[datetime, ...]
    bands: Mapping[str, Array]
    in_band: Array
    in_bands: Mapping[str, Array]
    falls_likely: datetime | None
    falls_maybe: datetime | None
    next_test: NextTest
    test_holds: float | None
    scenario: Scenario = field(default_factory=Scenario)

    @property
    def share_in_band(self) -> float:
        """Expected share of the hours in band."""
        return float(self.in_band.mean())


def look_ahead(case: Situation, days: float, scenario: Scenario, rng: np.random.Generator) -> Outlook:
    """The outlook over ``days`` from ``case.now``."""
    case = replace(case, belief=case.belief.thinned(_MEMBERS))
    values = _lived(case, max(1, round(24.0 * days)), scenario, rng)
    times = tuple(case.now + timedelta(hours=h) for h in range(len(values[SATURATION])))
    inside = {name: _inside(case, name, value) for name, value in values.items()}
    sanitizer = values[str(case.sanitizer_quantity)]
    low = (sanitizer < case.limits(case.sanitizer_quantity).bathing_low).mean(axis=1)
    return Outlook(
        times,
        {name: np.quantile(value, LEVELS, axis=1) for name, value in values.items()},
        np.logical_and.reduce(list(inside.values())).mean(axis=1),
        {name: value.mean(axis=1) for name, value in inside.items()},
        _first(times, low >= 0.5),
        _first(times, low >= 0.05),
        _next_test(case, times, values),
        _holds(case, values, scenario.test_now, rng) if scenario.test_now else None,
        scenario,
    )


def _first(times: tuple[datetime, ...], reached: NDArray[np.bool_]) -> datetime | None:
    return times[int(np.argmax(reached))] if reached.any() else None


def _quantities(case: Situation) -> tuple[Quantity, ...]:
    return (case.sanitizer_quantity, Quantity.PH, Quantity.TOTAL_ALKALINITY, Quantity.CALCIUM_HARDNESS)


def _inside(case: Situation, name: str, value: Array) -> NDArray[np.bool_]:
    """Where an hour counts: sanitizer between keep-out and caution, pH and alkalinity in their aims, no scale."""
    if name == SATURATION:
        return np.asarray(value <= _SCALE_HIGH)
    quantity = Quantity(name)
    limits = case.limits(quantity)
    if quantity is case.sanitizer_quantity:
        return np.asarray((value >= limits.keep_out_low) & (value <= _comfort(limits)))
    if quantity is Quantity.CALCIUM_HARDNESS:
        return np.asarray((value >= limits.bathing_low) & (value <= limits.bathing_high))
    return np.asarray((value >= limits.aim_low) & (value <= limits.aim_high))


def _comfort(limits: Limits) -> float:
    return min(limits.bathing_high, limits.caution[1] if limits.caution else 1.2 * limits.aim_high)


def _lived(case: Situation, hours: int, scenario: Scenario, rng: np.random.Generator) -> dict[str, Array]:
    """Every quantity by hour and member, (H, N)."""
    found: dict[str, list[Array]] = {name: [] for name in (*map(str, _quantities(case)), SATURATION)}
    for state, buffer in _hours(case, hours, scenario, rng):
        water = state.water
        oxidant = "bromine" if case.tub.sanitizer is Sanitizer.BROMINE else "free chlorine"
        row = {"bromine": "bromine", "free chlorine": "chlorine"}[oxidant]
        active = water.replaced(**{row: water.bromine + water.chlorine})
        found[str(case.sanitizer_quantity)].append(mg_per_litre(active, oxidant))
        found[str(Quantity.PH)].append(state.ph)
        found[str(Quantity.TOTAL_ALKALINITY)].append(mg_per_litre(water, "total alkalinity"))
        found[str(Quantity.CALCIUM_HARDNESS)].append(mg_per_litre(water, "calcium hardness"))
        index = buffer.si_calcite(state.ph, water.totals[INDEX["calcium"]], water.totals[INDEX["carbonate"]])
        found[SATURATION].append(index)
    return {name: np.stack(rows) for name, rows in found.items()}


def _hours(
    case: Situation, hours: int, scenario: Scenario, rng: np.random.Generator
) -> Iterator[tuple[TubState, FrozenBuffer]]:
    """The state at each full hour from now on."""
    state, rates = case.state, case.rates
    if scenario.tablets is not None or scenario.opening is not None:
        state = _feeder(case, state, scenario)
    buffer = freeze(state.water)
    state = replace(state, ph=buffer.ph0)
    for hour in range(hours):
        yield state, buffer
        people, minutes = _bathing(case, case.now + timedelta(hours=hour), scenario, rng)
        state = _hour(case, state, rates, buffer, people, minutes)
        if people.any():
            state = _after_soak(case, state, scenario, people * minutes / 30.0, rng)
        if hour % 24 == 23:
            lost = 24.0 * (rates.evaporation + rates.leak)
            state = top_up(top_up(state, rates, 24.0 * rates.leak, lost=True), rates, lost - 24.0 * rates.leak, False)
        if hour % 168 == 167:
            buffer = freeze(state.water)
    yield state, buffer


def _feeder(case: Situation, state: TubState, scenario: Scenario) -> TubState:
    """The feeder as the scenario sets it; what it does not say stays."""
    grams = case.products.tablet_grams
    if scenario.tablets is not None:
        opening = float(np.median(state.opening)) if scenario.opening is None else scenario.opening
        return fed(state, scenario.tablets, opening, grams)
    assert scenario.opening is not None
    return replace(state, opening=np.full(state.ph.shape, scenario.opening))


def _bathing(case: Situation, at: datetime, scenario: Scenario, rng: np.random.Generator) -> tuple[Array, Array]:
    """People in the hour from ``at`` and how long they stay, min, both (N,); what they bring is in the minutes."""
    table, shape = defaults(), case.state.ph.shape
    if scenario.party_at is not None and at <= scenario.party_at < at + timedelta(hours=1):
        load = np.exp(table["soak_load_spread"].value * rng.standard_normal(shape))
        return scenario.party_people * load, np.full(shape, scenario.party_minutes)
    away = scenario.away_from is not None and scenario.away_until is not None
    if away and scenario.away_from <= at < scenario.away_until:  # type: ignore[operator]
        return np.zeros(shape), np.zeros(shape)
    if at.hour != _EVENING:
        return np.zeros(shape), np.zeros(shape)
    evening = evenings(case, 1, shape[0], rng)
    long = 60.0 * np.divide(
        evening.bather_hours[0], evening.people[0], out=np.zeros(shape), where=evening.people[0] > 0.0
    )
    return evening.people[0], long


def _hour(
    case: Situation, state: TubState, rates: Rates, buffer: FrozenBuffer, people: Array, minutes: Array
) -> TubState:
    """One hour, part of it with people in and jets on."""
    if not people.any():
        return advance(state, rates, 1.0, Mode.COVERED, case.products.tablet, buffer, longest=1.0)
    part = np.minimum(minutes / 60.0, 1.0) * (people > 0.0)
    mixed = (1.0 - part) * rates.kla[Mode.COVERED] + part * rates.kla[Mode.SOAKING]
    evening = replace(rates, kla={Mode.COVERED: mixed})
    state = advance(state, evening, 1.0, Mode.COVERED, case.products.tablet, buffer, longest=1.0)
    wet = soak(state, rates, people * minutes / 60.0, people)
    w = wet.water
    return replace(wet, ph=buffer.ph(w.alkalinity, w.carbonate, w.bromine, wet.ph, w.chlorine))


def _after_soak(
    case: Situation, state: TubState, scenario: Scenario, half_hours: Array, rng: np.random.Generator
) -> TubState:
    """What whoever soaked adds; now and then it is forgotten."""
    recipe = case.products.compositions.get(scenario.after_soak_product)
    if recipe is None or scenario.after_soak_grams <= 0.0:
        return state
    given = rng.random(half_hours.shape) < taken_share(case)
    error = np.exp(defaults()["dose_spread"].value * rng.standard_normal(half_hours.shape))
    grams = scenario.after_soak_grams * half_hours * given * error
    return replace(state, water=dose(state.water, recipe, grams, case.rates.litres))


def _sure(case: Situation, values: Mapping[str, Array], weights: Array) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Hours at which the belief is sure enough of sanitizer and of pH, (H, K), for members' weights (N, K)."""
    table, sure = defaults(), []
    for quantity, need in ((case.sanitizer_quantity, "sure_sanitizer"), (Quantity.PH, "sure_ph")):
        value, limits = values[str(quantity)], case.limits(quantity)
        inside = (value >= limits.bathing_low) & (value <= limits.bathing_high)
        sure.append(inside.astype(float) @ weights >= table[need].value)
    return sure[0], sure[1]


def _next_test(case: Situation, times: tuple[datetime, ...], values: Mapping[str, Array]) -> NextTest:
    """The last hour at which both locks of *fit* would still be open, as the verdict says until when it holds."""
    members = values[SATURATION].shape[1]
    sanitizer, ph = (s[:, 0] for s in _sure(case, values, np.full((members, 1), 1.0 / members)))
    found = [
        NextTest(case.now + timedelta(hours=_age_left(case)), Reason("reading-runs-out", {"limit": case.most_test_age}))
    ]
    for sure, name in ((sanitizer, str(case.sanitizer_quantity)), (ph, "pH")):
        if not sure.all():
            last = max(int(np.argmin(sure)) - 1, 0)
            found.append(NextTest(times[last], Reason("no-longer-sure", {"quantity": name})))
    return min(found, key=lambda test: test.at)


def _age_left(case: Situation) -> float:
    """Hours that the newest valid readings still count; 0 where there is none."""
    pair = [case.last_valid(q) for q in (case.sanitizer_quantity, Quantity.PH)]
    ages = [(case.now - r.at).total_seconds() / 3600.0 for r in pair if r is not None]
    return max(case.most_test_age - max(ages), 0.0) if len(ages) == 2 else 0.0


def _holds(case: Situation, values: Mapping[str, Array], method: str, rng: np.random.Generator) -> float:
    """Median hours that the belief would stay sure after a test by ``method`` now, over what it may read."""
    members = values[SATURATION].shape[1]
    truths = rng.integers(0, members, _HYPOTHETICAL)
    score = np.zeros((members, _HYPOTHETICAL))
    for quantity in (case.sanitizer_quantity, Quantity.PH):
        if quantity in methods()[method].quantities:
            now = values[str(quantity)][0]
            for k, member in enumerate(truths):
                score[:, k] += log_likelihood(_reading(case, method, quantity, now[member], rng), now, ReadingContext())
    weights = np.exp(score - score.max(axis=0))
    sanitizer, ph = _sure(case, values, weights / weights.sum(axis=0))
    sure = np.logical_and.accumulate(sanitizer & ph, axis=0)
    return float(min(np.median(sure.sum(axis=0)), case.most_test_age))


def _reading(case: Situation, method: str, quantity: Quantity, truth: float, rng: np.random.Generator) -> Reading:
    """What a method may read of a true value: with its error, on its steps."""
    row = methods()[method].quantities[quantity]
    read = truth + rng.logistic() * max(row.absolute, row.relative * truth) * np.sqrt(3.0) / np.pi
    steps = np.array(row.steps) if row.steps else np.arange(row.low, row.high + row.resolution, row.resolution)
    value = float(np.clip(steps[np.argmin(np.abs(steps - read))], row.low, row.high))
    scales = {Quantity.BROMINE: OxidantScale.AS_BR2, Quantity.FREE_CHLORINE: OxidantScale.AS_CL2}
    unit = "pH" if quantity is Quantity.PH else "mg/L"
    return Reading(quantity, value, value, unit, method, case.now, scales.get(quantity))
