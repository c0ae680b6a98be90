"""One step of time for an ensemble of tubs: feeder, halogen reactions, demand, decay and gas exchange.

Rate laws: monopersulfate and bromide react second order (two-electron oxygen transfer, Lente et al. 2009,
Inorg. Chem. 48:1763); hypochlorous acid and bromide at once and by mole (Kumar & Margerum 1987, from memory);
idle loss is first order, and the slow part of the bathers' demand breaks down by first order, with or without halogen
there, into what takes halogen at once, and waits for it where there is none (engineering judgement); carbon dioxide
leaves in proportion to its excess over the air (two-film theory with one kLa; Lewis & Whitman 1924, from memory).
A halogen that is used up becomes a halide and leaves one acid, which the strong-ion alkalinity shows by itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tubwater.chemistry import (
    INDEX,
    KG_PER_LITRE,
    STRONG_CHARGE,
    Composition,
    FrozenBuffer,
    Water,
    freeze,
    second_order,
)
from tubwater.dynamics.rates import Mode, Rates

__all__ = ["FULL_TABLET_GRAMS", "TubState", "advance", "alkalinity_of", "refill", "soak", "top_up", "ventilate"]

Array = NDArray[np.float64]
FULL_TABLET_GRAMS = 20.0  # common practice; the release rate is stated for this size
_SECONDS = 3600.0
_LONGEST = {Mode.COVERED: 6.0, Mode.OPEN: 1.0, Mode.CIRCULATING: 0.5, Mode.SOAKING: 0.25}  # h
_BR, _BROMINE, _CL, _CHLORINE = INDEX["bromide"], INDEX["bromine"], INDEX["chloride"], INDEX["chlorine"]
_MPS, _SO4, _C = INDEX["monopersulfate"], INDEX["sulfate"], INDEX["carbonate"]
_DEMAND, _REDUCTANT = INDEX["demand"], INDEX["reductant"]


@dataclass(frozen=True, eq=False)
class TubState:
    """A tub at one moment, arrays of one shape S.

    Attributes:
        water: its water.
        tablet_grams: what is left in the feeder, g.
        tablet_count: tablets when the feeder was filled.
        opening: how far the feeder is open, 0 to 1.
        ph: the last pH known, a start for the next solve.
    """

    water: Water
    tablet_grams: Array
    tablet_count: Array
    opening: Array
    ph: Array

    def __getitem__(self, index: Any) -> TubState:
        """The tubs at ``index`` of S."""
        return TubState(**{name: getattr(self, name)[index] for name in self.__dataclass_fields__})


def advance(
    state: TubState,
    rates: Rates,
    hours: float,
    mode: Mode,
    tablet: Composition | None = None,
    buffer: FrozenBuffer | None = None,
    longest: float | None = None,
    settle: bool = True,
) -> TubState:
    """The tub ``hours`` later in one mode.

    ``buffer`` defaults to the present water's; ``longest`` caps a step, h. Without ``settle`` the pH of the result is
    that of the last step's beginning: a start for the next solve, no more.
    """
    if hours <= 0.0:
        return state
    frozen = freeze(state.water, start_ph=state.ph) if buffer is None else buffer
    steps = max(1, int(np.ceil(hours / (longest or _LONGEST[mode]) - 1e-9)))
    totals = state.water.totals.copy()
    grams, ph = state.tablet_grams, state.ph
    decay = rates.decay_at(_members(state.water.temperature))
    for _ in range(steps):
        gone = _released(grams, state, rates, hours / steps, tablet)
        half = 0.5 * gone / (rates.litres * KG_PER_LITRE)  # before and after: of second order in the step
        _dissolve(totals, half, tablet)
        _react(totals, rates, hours / steps)
        _lose(totals, rates, hours / steps, decay)
        _dissolve(totals, half, tablet)
        _react(totals, rates, 0.0)
        totals[_REDUCTANT] = _spend(totals, totals[_REDUCTANT])
        grams = grams - gone
        ph = _exchange(totals, frozen, ph, rates, hours / steps, mode)
    if settle:
        ph = frozen.ph(alkalinity_of(totals), totals[_C], totals[_BROMINE], ph, totals[_CHLORINE])
    return TubState(Water(state.water.temperature, totals), grams, state.tablet_count, state.opening, ph)


def ventilate(state: TubState, kla_time: ArrayLike, rates: Rates, buffer: FrozenBuffer) -> TubState:
    """Extra gas exchange of a dimensionless kLa t, at once: a cover that was off for a while. S as in ``advance``."""
    w = state.water
    solved = buffer.ph(w.alkalinity, w.carbonate, w.bromine, state.ph, w.chlorine)
    excess = buffer.co2(state.water.carbonate, solved) - buffer.co2_at(rates.air_pco2)
    water = state.water.plus(carbonate=excess * np.expm1(-np.asarray(kla_time, dtype=float)))
    return TubState(water, state.tablet_grams, state.tablet_count, state.opening, solved)


def soak(state: TubState, rates: Rates, bather_hours: ArrayLike, people: ArrayLike) -> TubState:
    """The moment people get out: the fast demand is met or waits, the slow joins the pool, splash is replaced."""
    kg = rates.litres * KG_PER_LITRE
    load = rates.demand * np.asarray(bather_hours, dtype=float) / kg
    wet = top_up(state, rates, np.asarray(people) * rates.carry_out, lost=True)
    totals = wet.water.totals  # new there, so that it can be changed here
    totals[_REDUCTANT] = _spend(totals, totals[_REDUCTANT] + load * rates.fast_share)
    totals[_DEMAND] += load * (1.0 - rates.fast_share)
    return wet


def top_up(state: TubState, rates: Rates, litres: ArrayLike, lost: bool) -> TubState:
    """``litres`` of fill water in; ``lost`` True where water went out, False where only vapour did."""
    share = np.minimum(np.asarray(litres) / rates.litres, 1.0)
    fill = rates.fill.totals
    extra = (1,) * (state.water.totals.ndim - fill.ndim)  # candidates stand before the members
    fill = fill.reshape(fill.shape[0], *extra, *fill.shape[1:])
    totals = state.water.totals * (1.0 - share) if lost else state.water.totals.copy()
    totals += share * fill
    water = Water(state.water.temperature, totals)
    return TubState(water, state.tablet_grams, state.tablet_count, state.opening, state.ph)


def refill(state: TubState, rates: Rates, fraction: ArrayLike) -> TubState:
    """A partial drain: ``fraction`` of the water replaced by fill water, at the tub's temperature."""
    return top_up(state, rates, np.asarray(fraction) * rates.litres, lost=True)


def alkalinity_of(totals: Array) -> Array:
    """Strong-ion alkalinity of component totals (18, *S), eq/kg, shape S."""
    charge = STRONG_CHARGE.astype(totals.dtype)
    value: Array = (charge @ totals.reshape(len(charge), -1)).reshape(totals.shape[1:])
    return value


def _members(value: Array) -> Array:
    """One value of each member, (M,), where all candidates of (..., M) have the same."""
    while value.ndim > 1 and value.strides[0] == 0:
        value = value[0]
    return value


def _released(grams: Array, state: TubState, rates: Rates, hours: float, tablet: Composition | None) -> Array:
    """What the tablets lose, g."""
    if tablet is None or not np.any(grams):
        return np.zeros(1, grams.dtype)
    full = np.maximum(state.tablet_count * FULL_TABLET_GRAMS, 1e-9)
    rate = rates.release * state.tablet_count * state.opening * (grams / full) ** rates.release_exponent
    gone: Array = np.minimum(rate * hours, grams)
    return gone


def _dissolve(totals: Array, per_kg: Array, tablet: Composition | None) -> None:
    """Tablet dissolves into ``totals`` (in place), g per kg."""
    if tablet is None or not per_kg.any():
        return
    for index in np.flatnonzero(tablet.per_gram):
        totals[index] += tablet.per_gram[index] * per_kg


def _react(totals: Array, rates: Rates, hours: float) -> None:
    """Chlorine takes bromide at once, monopersulfate by its rate (both in place)."""
    if totals[_CHLORINE].any():
        moved = np.minimum(totals[_CHLORINE], totals[_BR])
        _move(totals, moved, take=(_CHLORINE, _BR), give=(_BROMINE, _CL))
    if hours > 0.0 and totals[_MPS].any():
        moved = second_order(totals[_MPS], totals[_BR], rates.monopersulfate_rate * hours * _SECONDS)
        _move(totals, moved, take=(_MPS, _BR), give=(_BROMINE, _SO4))


def _move(totals: Array, amount: Array, take: tuple[int, ...], give: tuple[int, ...]) -> None:
    for index in take:
        totals[index] -= amount
    for index in give:
        totals[index] += amount


def _lose(totals: Array, rates: Rates, hours: float, decay: Array) -> None:
    """What has become ripe of the demand takes halogen between two halves of the idle loss, 1/h (in place)."""
    share = -np.expm1(-0.5 * hours * decay)
    _fade(totals, share)
    ripe = totals[_DEMAND] * -np.expm1(-rates.slow_rate * hours)
    totals[_DEMAND] -= ripe
    totals[_REDUCTANT] = _spend(totals, totals[_REDUCTANT] + ripe)
    _fade(totals, share)


def _fade(totals: Array, share: Array) -> None:
    """A share of the halogen becomes halide (in place)."""
    _move(totals, totals[_BROMINE] * share, take=(_BROMINE,), give=(_BR,))
    if totals[_CHLORINE].any():
        _move(totals, totals[_CHLORINE] * share, take=(_CHLORINE,), give=(_CL,))


def _spend(totals: Array, wanted: Array) -> Array:
    """Use up halogen, bromine and chlorine alike (in place); returns what could not be met, mol/kg."""
    active = totals[_BROMINE] + totals[_CHLORINE]
    used = np.minimum(wanted, active)
    share = np.divide(used, active, out=np.zeros_like(active), where=active > 0)
    _fade(totals, share)
    left: Array = wanted - used
    return left


def _exchange(totals: Array, buffer: FrozenBuffer, ph: Array, rates: Rates, hours: float, mode: Mode) -> Array:
    """Carbon dioxide leaves or enters (in place); returns the pH before it, a start for the next solve."""
    solved = buffer.ph(alkalinity_of(totals), totals[_C], totals[_BROMINE], ph, totals[_CHLORINE])
    excess = buffer.co2(totals[_C], solved) - buffer.co2_at(rates.air_pco2)
    totals[_C] += excess * np.expm1(-rates.kla[mode] * hours)
    return solved
