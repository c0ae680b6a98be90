"""The past re-lived by every member: doses, soaks, fills, time, top-up, and what nobody entered."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tubwater.belief.history import Happening, Slot
from tubwater.belief.observe import Observer
from tubwater.belief.prior import DRIFTING, FILL, Prior
from tubwater.belief.products import Products
from tubwater.belief.transport import heavy, quantile, rare
from tubwater.chemistry import FrozenBuffer, dose, freeze
from tubwater.dynamics import (
    FULL_TABLET_GRAMS,
    Mode,
    Rates,
    TubState,
    advance,
    refill,
    soak,
    top_up,
    ventilate,
)
from tubwater.facts import defaults
from tubwater.tub import Answer, Dosed, Drained, FeederSet, Filled, Noticed, Soaked

__all__ = ["Moment", "covered_until", "drift_of", "fed", "jump_edge", "passed", "scoop_share", "size_of"]

Array = NDArray[np.float64]
_LONGEST_COVERED = 8.0  # h; bromine within one in a hundred of steps of a quarter hour, pH within 0.04 (tested)
_SCOOP_FROM = 0.15  # relative spread from which a measure is a scoop that was never weighed (judgement)
_SCOOP_SHARE = 0.85  # of its spread that is the same from scoop to scoop (judgement)
_UNLOGGED = {Answer.YES: 0.95, Answer.UNKNOWN: 0.35}  # chance of a soak behind such an answer (judgement)
_UNLOGGED_MINUTES = 30.0


@dataclass(frozen=True, eq=False)
class Moment:
    """Every member at one time.

    Attributes:
        at: when. core: plain numbers of tub and fill water, (P, N). offsets: by name, (N,). rates, state: of each.
        buffer: the frozen buffering, None where it has to be made anew.
    """

    at: datetime
    prior: Prior
    products: Products
    core: Array
    offsets: dict[str, Array]
    rates: Rates
    state: TubState
    buffer: FrozenBuffer | None = None

    @classmethod
    def of(
        cls, at: datetime, prior: Prior, products: Products, core: Array, offsets: dict[str, Array], state: TubState
    ) -> Moment:
        """A moment whose rates follow from its plain numbers."""
        return cls(at, prior, products, core, offsets, prior.rates(prior.values(core)), state)

    def seen(self) -> tuple[Observer, Moment]:
        """An observer of the water, and the moment with the pH and buffering that it found."""
        observer = Observer(self.state)
        state = replace(self.state, ph=observer.solved.ph)
        return observer, replace(self, state=state, buffer=freeze(state.water, solved=observer.solved))

    def frozen(self) -> tuple[FrozenBuffer, Moment]:
        """The buffering, made where it is missing."""
        if self.buffer is not None:
            return self.buffer, self
        buffer = freeze(self.state.water, start_ph=self.state.ph)
        return buffer, replace(self, buffer=buffer, state=replace(self.state, ph=buffer.ph0))

    def __getitem__(self, index: Any) -> Moment:
        """The members at ``index``."""
        offsets = {name: row[index] for name, row in self.offsets.items()}
        buffer = None if self.buffer is None else self.buffer[index]
        return replace(
            self,
            core=self.core[:, index],
            offsets=offsets,
            rates=self.rates[index],
            state=self.state[index],
            buffer=buffer,
        )


def covered_until(now: Moment, at: datetime) -> Moment:
    """Covered and unused until ``at``; what evaporates or leaks is topped up."""
    hours = (at - now.at).total_seconds() / 3600.0
    if hours <= 0.0:
        return now
    buffer, now = now.frozen()
    state = advance(
        now.state, now.rates, hours, Mode.COVERED, now.products.tablet, buffer, _LONGEST_COVERED, settle=False
    )
    state = top_up(state, now.rates, now.rates.evaporation * hours, lost=False)
    if now.rates.leak.any():
        state = top_up(state, now.rates, now.rates.leak * hours, lost=True)
    return replace(now, at=at, state=state)


def passed(now: Moment, happening: Happening, noise: Array) -> Moment:
    """After a happening; ``noise`` (draws, N) stands for what is not known of it. Readings change nothing."""
    what = happening.what
    if isinstance(what, Slot):
        return _SLOTS[what](now, noise)
    if isinstance(what, Dosed):
        return _dosed(now, what, noise)
    if isinstance(what, Soaked):
        load = np.exp(defaults()["soak_load_spread"].value * noise[0])
        return _soaked(now, what.people * load, what.minutes, np.asarray(what.people))
    if isinstance(what, Drained):
        state = refill(now.state, now.rates, np.minimum(what.litres / now.rates.litres, 1.0))
        return replace(now, state=state, buffer=None)
    if isinstance(what, FeederSet):
        return replace(now, state=fed(now.state, what.tablets, what.opening, now.products.tablet_grams))
    if isinstance(what, Noticed) and what.unlogged_soak in _UNLOGGED:
        return _unlogged(now, _UNLOGGED[what.unlogged_soak], noise)
    return _refilled(now, noise) if isinstance(what, Filled) else now


def _dosed(now: Moment, dosed: Dosed, noise: Array) -> Moment:
    lasting, chance = scoop_share(dosed)
    error = chance * noise[0] + lasting * now.offsets.get(f"scoop {dosed.product}", 0.0)
    went_in = 1.0 if dosed.certain else (noise[1] > 0.0)
    grams = dosed.grams * np.exp(error) * went_in
    water = dose(now.state.water, now.products.compositions[dosed.product], grams, now.rates.litres)
    return replace(now, state=replace(now.state, water=water))


def scoop_share(dosed: Dosed) -> tuple[float, float]:
    """The part of a dose's log-spread that lasts with the scoop, and the part that is drawn anew."""
    if dosed.spread < _SCOOP_FROM:
        return 0.0, dosed.spread
    lasting = _SCOOP_SHARE * dosed.spread
    return lasting, float(np.sqrt(dosed.spread**2 - lasting**2))


def _soaked(now: Moment, load: Array, minutes: float, people: Array) -> Moment:
    """``load`` persons' worth of demand; water is carried out by ``people``."""
    hours = minutes / 60.0
    buffer, now = now.frozen()
    wet = advance(now.state, now.rates, hours, Mode.SOAKING, now.products.tablet, buffer, longest=0.5, settle=False)
    return replace(now, state=soak(wet, now.rates, load * hours, people))


def _unlogged(now: Moment, chance: float, noise: Array) -> Moment:
    """A soak without a note: its demand and the gas that the jets drive out, at once."""
    bather_hours = rare(defaults()["unlogged_bather_hours"], chance, noise[0])
    if not bather_hours.any():
        return now
    buffer, now = now.frozen()
    open_hours = (bather_hours > 0.0) * (_UNLOGGED_MINUTES / 60.0)
    blown = ventilate(now.state, now.rates.kla[Mode.SOAKING] * open_hours, now.rates, buffer)
    return replace(now, state=soak(blown, now.rates, bather_hours, bather_hours / (_UNLOGGED_MINUTES / 60.0)))


def _unlogged_slot(now: Moment, noise: Array) -> Moment:
    return _unlogged(now, _unlogged_chance(), noise)


def _unlogged_chance() -> float:
    return 1.0 - float(np.exp(-0.5 * defaults()["unlogged_soaks_per_week"].value))


def _lid_hours(noise: Array) -> Array:
    table = defaults()
    chance = 1.0 - float(np.exp(-table["lid_left_open_per_week"].value))
    return rare(table["lid_left_open_hours"], chance, noise)


def _lid_slot(now: Moment, noise: Array) -> Moment:
    hours = _lid_hours(noise[0])
    if not hours.any():
        return now
    buffer, now = now.frozen()
    return replace(now, state=ventilate(now.state, now.rates.kla[Mode.OPEN] * hours, now.rates, buffer))


def size_of(slot: Slot, noise: Array) -> Array:
    """How large the unseen is, of the order of one: drift, hours without the lid, a soak without a note."""
    if slot is Slot.DRIFT:
        return heavy(noise, jump_edge())
    if slot is Slot.LID:
        return _lid_hours(noise) / defaults()["lid_left_open_hours"].value
    return np.log1p(rare(defaults()["unlogged_bather_hours"], _unlogged_chance(), noise))


def jump_edge() -> float:
    """Standard deviations beyond which half a week's drift of one rate is a jump."""
    return quantile(1.0 - 0.25 * defaults()["jump_per_week"].value / len(DRIFTING))


def _widths() -> Array:
    """Standard deviation of half a week's drift of each rate in units of its prior's spread, (rates, 1)."""
    table = defaults()
    half_week = np.sqrt(0.5) * table["drift_per_root_week"].value
    return np.array([[min(half_week / table[name].spread, 0.5)] for name in DRIFTING])


def drift_of(noise: Array) -> Array:
    """What half a week adds to the logarithm of each rate, (rates, N), mean reversion left aside."""
    spreads = np.array([[defaults()[name].spread] for name in DRIFTING])
    value: Array = spreads * _widths() * heavy(noise, jump_edge())
    return value


def _drift_slot(now: Moment, noise: Array) -> Moment:
    """Half a week of drift: mean-reverting, so that far from any test the tub is again an ordinary one."""
    core, widths = now.core.copy(), _widths()
    rows = [now.prior.names.index(name) for name in DRIFTING]
    core[rows] = np.sqrt(1.0 - widths**2) * core[rows] + widths * heavy(noise, jump_edge())
    return replace(now, core=core, rates=now.prior.drifted(now.rates, core))


def _refilled(now: Moment, noise: Array) -> Moment:
    """Fresh water, much like the last fill's; the feeder is empty."""
    core, same = now.core.copy(), defaults()["fill_correlation"].value
    rows = [now.prior.names.index(name) for name in FILL]
    core[rows] = same * core[rows] + np.sqrt(1.0 - same**2) * noise
    rates, zero = now.prior.rates(now.prior.values(core)), np.zeros(core.shape[1])
    state = TubState(rates.fill, zero, zero, zero + 0.5, zero + 7.5)
    return replace(now, core=core, rates=rates, state=state, buffer=None)


_SLOTS = {Slot.DRIFT: _drift_slot, Slot.LID: _lid_slot, Slot.SOAK: _unlogged_slot}


def fed(state: TubState, tablets: float | Array, opening: float | None, tablet_grams: float) -> TubState:
    """The feeder with so many tablets and so far open; a half where the opening is not known."""
    shape = state.ph.shape
    count = np.broadcast_to(np.asarray(tablets, float) * tablet_grams / FULL_TABLET_GRAMS, shape)
    wide = np.full(shape, 0.5 if opening is None else opening)
    return TubState(state.water, count * FULL_TABLET_GRAMS, count, wide, state.ph)
