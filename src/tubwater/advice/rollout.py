"""The days until the next visit, lived by many possible tubs under many candidate plans at once.

Rows are [candidates, members]. Each member keeps its own soaks, dosing errors and tub for every candidate
(common random numbers), so that candidates differ only by what was done.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tubwater.chemistry import INDEX, KG_PER_LITRE, MG_PER_EQ_CACO3, Composition, FrozenBuffer, Water
from tubwater.dynamics import Mode, Rates, TubState, advance, alkalinity_of, soak
from tubwater.facts import Limits

__all__ = ["Bands", "Future", "Levers", "Lived", "Recipes", "live"]

Array = NDArray[np.float64]
_SOAK_AT = 20.0  # h of the day (judgement)
_PER_LITRE = 1000.0 * KG_PER_LITRE  # g of water


@dataclass(frozen=True, eq=False)
class Levers:
    """Candidate decisions, each of shape (C, 1), grams of product unless said.

    Attributes:
        acid, bicarbonate, soda_ash, oxidizer: added now.
        tablet_grams: tablets in the feeder, g. opening: 0 to 1.
        after_soak: product per person-half-hour after each soak.
    """

    acid: Array
    bicarbonate: Array
    soda_ash: Array
    oxidizer: Array
    tablet_grams: Array
    opening: Array
    after_soak: Array

    @classmethod
    def names(cls) -> tuple[str, ...]:
        """The levers by name."""
        return tuple(cls.__dataclass_fields__)


@dataclass(frozen=True, eq=False)
class Recipes:
    """Composition of the product behind each lever; None where nothing fits."""

    acid: Composition | None
    bicarbonate: Composition | None
    soda_ash: Composition | None
    oxidizer: Composition | None
    tablet: Composition | None


@dataclass(frozen=True, eq=False)
class Future:
    """What each member's coming days hold, shape (M,) or (days, M).

    Attributes:
        bather_hours, people: of each evening. dosed: person-hours that the dose after the soak is really given for.
        dose_error: factor on every addition.
        visit_hours: open and circulating.
    """

    bather_hours: Array
    people: Array
    dosed: Array
    dose_error: Array
    visit_hours: float

    def __getitem__(self, members: slice) -> Future:
        """The future of those members."""
        rows = {name: getattr(self, name)[..., members] for name in self.__dataclass_fields__ if name != "visit_hours"}
        return replace(self, **rows)

    @property
    def days(self) -> int:
        """Days until the next visit."""
        return int(self.bather_hours.shape[0])


@dataclass(frozen=True)
class Bands:
    """The wanted ranges that hours are counted in."""

    sanitizer: Limits
    ph: Limits
    alkalinity: Limits
    calcite_high: float = 0.3
    per_mg: float = 159.808e3  # mg/L per mol/kg of halogen, times kg per litre


@dataclass(frozen=True, eq=False)
class Lived:
    """Averages over the hours, shape (C, M): shares of time, and the mean shortfall outside the inner band.

    ``end_net``: the sanitizer at the end with all monopersulfate, less all that is still owed to what people brought,
    mg/L; below zero where the next visit begins with a debt. ``first_below``: hours until the sanitizer is first below
    the limit, infinite where it never is.
    """

    in_band: Array
    soft: Array
    below: Array
    above: Array
    sanitizer_in: Array
    ph_in: Array
    alkalinity_in: Array
    lowest: Array
    end_ph: Array
    end_sanitizer: Array
    end_alkalinity: Array
    end_net: Array
    first_below: Array


def live(
    state: TubState, rates: Rates, buffer: FrozenBuffer, levers: Levers, recipes: Recipes, future: Future, bands: Bands
) -> Lived:
    """Carry every candidate through every member's future and count its hours."""
    count = _Counter(bands, buffer)
    for now, hours in _days(_dosed(state, rates, levers, recipes, future), rates, buffer, levers, recipes, future):
        count.add(now, hours)
    return count.result()


def _dosed(state: TubState, rates: Rates, levers: Levers, recipes: Recipes, future: Future) -> TubState:
    """The visit's additions, all together, and the feeder."""
    shape = np.broadcast_shapes(levers.acid.shape, state.ph.shape)
    totals = np.broadcast_to(state.water.totals[:, None, :], (len(state.water.totals), *shape)).copy()
    for name in ("acid", "bicarbonate", "soda_ash", "oxidizer"):
        _add(totals, getattr(recipes, name), getattr(levers, name) * future.dose_error / rates.litres)
    grams = np.broadcast_to(levers.tablet_grams + 0.0 * state.ph, shape)
    water = Water(np.broadcast_to(state.water.temperature, shape), totals)
    ph = np.broadcast_to(state.ph, shape)
    return TubState(water, grams, grams / 20.0, np.broadcast_to(levers.opening, shape), ph)


def _add(totals: Array, recipe: Composition | None, grams_per_litre: Array) -> None:
    if recipe is None:
        return
    for index in np.flatnonzero(recipe.per_gram):
        totals[index] += recipe.per_gram[index] * grams_per_litre * 1000.0 / _PER_LITRE


def _days(
    state: TubState, rates: Rates, buffer: FrozenBuffer, levers: Levers, recipes: Recipes, future: Future
) -> Iterator[tuple[TubState, float]]:
    """States at the end of each stretch with its hours: the visit, then day by day with an evening."""
    tablet = recipes.tablet
    state = advance(state, rates, future.visit_hours, Mode.CIRCULATING, tablet, buffer, longest=1.0)
    yield state, future.visit_hours
    for day in range(future.days):
        state = advance(state, rates, 9.5, Mode.COVERED, tablet, buffer, longest=9.5)
        yield state, 9.5
        bathed, hours = future.people[day] > 0.0, future.bather_hours[day]
        evening = replace(rates, kla={Mode.SOAKING: np.where(bathed, rates.kla[Mode.SOAKING], rates.kla[Mode.COVERED])})
        if bathed.any():
            state = advance(state, evening, 0.5, Mode.SOAKING, tablet, buffer, longest=0.5)
            state = soak(state, rates, hours, future.people[day])
            yield state, 0.5
            state = _after_soak(state, rates, levers, recipes, future, future.dosed[day])
        for stretch in (4.0, 10.0):
            state = advance(state, rates, stretch, Mode.COVERED, tablet, buffer, longest=10.0)
            yield state, stretch


def _after_soak(
    state: TubState, rates: Rates, levers: Levers, recipes: Recipes, future: Future, person_hours: Array
) -> TubState:
    totals = state.water.totals.copy()
    _add(totals, recipes.oxidizer, levers.after_soak * 2.0 * person_hours * future.dose_error / rates.litres)
    return replace(state, water=Water(state.water.temperature, totals))


class _Counter:
    """Adds up hours by where the water stands."""

    def __init__(self, bands: Bands, buffer: FrozenBuffer) -> None:
        self.bands, self.buffer, self.hours = bands, buffer, 0.0
        self.sums: dict[str, Array] = {}
        self.lowest: Array | None = None
        self.first_below: Array = np.asarray(np.inf)
        self.last: tuple[Array, Array, Array, Array] | None = None

    def add(self, state: TubState, hours: float) -> None:
        """Count one stretch by the state at its end."""
        b, totals = self.bands, state.water.totals
        sanitizer = (totals[INDEX["bromine"]] + totals[INDEX["chlorine"]]) * b.per_mg
        alkalinity = alkalinity_of(totals) * MG_PER_EQ_CACO3 * _PER_LITRE
        index = self.buffer.si_calcite(state.ph, totals[INDEX["calcium"]], totals[INDEX["carbonate"]])
        ok = (sanitizer >= b.sanitizer.keep_out_low) & (sanitizer <= _comfort(b.sanitizer))
        ph_ok = (state.ph >= b.ph.aim_low) & (state.ph <= b.ph.aim_high)
        alkalinity_ok = (alkalinity >= b.alkalinity.aim_low) & (alkalinity <= b.alkalinity.aim_high)
        self._sum("in_band", ok & ph_ok & alkalinity_ok & (index <= b.calcite_high), hours)
        self._sum("sanitizer_in", ok, hours)
        self._sum("ph_in", ph_ok, hours)
        self._sum("alkalinity_in", alkalinity_ok, hours)
        self._sum("below", sanitizer < b.sanitizer.keep_out_low, hours)
        self._sum("above", sanitizer > b.sanitizer.bathing_high, hours)
        self._sum("soft", _soft(b, sanitizer, state.ph, alkalinity, index), hours)
        self.hours += hours
        self.first_below = np.minimum(
            self.first_below, np.where(sanitizer < b.sanitizer.keep_out_low, self.hours, np.inf)
        )
        self.lowest = sanitizer if self.lowest is None else np.minimum(self.lowest, sanitizer)
        owed = totals[INDEX["demand"]] + totals[INDEX["reductant"]] - totals[INDEX["monopersulfate"]]
        self.last = (state.ph, sanitizer, alkalinity, sanitizer - owed * b.per_mg)

    def _sum(self, name: str, value: Array | NDArray[np.bool_], hours: float) -> None:
        self.sums[name] = np.asarray(self.sums.get(name, 0.0) + hours * value, dtype=float)

    def result(self) -> Lived:
        """Shares of the counted hours."""
        assert self.lowest is not None and self.last is not None
        shares = {name: value / self.hours for name, value in self.sums.items()}
        ends = dict(zip(("end_ph", "end_sanitizer", "end_alkalinity", "end_net"), self.last, strict=True))
        rest = ends | {"lowest": self.lowest, "first_below": self.first_below}
        return Lived(**shares, **{name: value.astype(float) for name, value in rest.items()})


def _comfort(limits: Limits) -> float:
    """The upper end for counted hours: where caution begins, or a fifth above the aim."""
    return min(limits.bathing_high, limits.caution[1] if limits.caution else 1.2 * limits.aim_high)


def _soft(b: Bands, sanitizer: Array, ph: Array, alkalinity: Array, index: Array) -> Array:
    """Distance outside the inner band in units that matter alike, saturating so that no tail rules the plan."""
    middle = 0.5 * (b.sanitizer.aim_low + b.sanitizer.aim_high)
    low = np.maximum(middle - sanitizer, 0.0) / b.sanitizer.aim_low
    high = np.maximum(sanitizer - b.sanitizer.aim_high, 0.0) / b.sanitizer.aim_high
    inner = 0.02  # a low start that drifts up is a good plan, so the edges count almost in full
    acid = np.maximum(b.ph.aim_low + inner - ph, 0.0) + np.maximum(ph - b.ph.aim_high + inner, 0.0)
    wide = b.alkalinity.aim_high - b.alkalinity.aim_low
    salt = np.maximum(b.alkalinity.aim_low + 0.05 * wide - alkalinity, 0.0)
    salt = (salt + np.maximum(alkalinity - b.alkalinity.aim_high, 0.0)) / wide
    scale = np.maximum(index - b.calcite_high, 0.0)
    total: Array = np.minimum(low + high, 2.0) + np.minimum(2.0 * acid, 2.0) + np.minimum(salt, 2.0) + 2.0 * scale
    return total
