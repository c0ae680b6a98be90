"""What was learned of a tub, in plain values beside what was assumed before, and what changed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tubwater.belief.belief import Belief
from tubwater.belief.change import TOLD, Change, ChangeKind, shifts

__all__ = ["Learned", "LearnedValue", "changes", "learned"]

Array = NDArray[np.float64]
_LEVELS = (0.05, 0.5, 0.95)
_DRAWS = 4000
_LEAK = 5.0  # L/d from which water that runs off is a leak and not splashing (judgement)


@dataclass(frozen=True)
class LearnedValue:
    """One property of a tub: median, 5th and 95th percentile now, and the same before anything was read.

    Attributes:
        key: such as "litres". known: share of the prior's spread (of the logarithm) that is gone, 0 to 1.
    """

    key: str
    unit: str
    low: float
    median: float
    high: float
    prior_low: float
    prior_median: float
    prior_high: float

    @property
    def known(self) -> float:
        """0 where nothing was learned, towards 1 where the value is known."""
        before = np.log(self.prior_high / max(self.prior_low, 1e-12))
        return float(np.clip(1.0 - np.log(self.high / max(self.low, 1e-12)) / max(before, 1e-12), 0.0, 1.0))


@dataclass(frozen=True)
class Learned:
    """Attributes:
    litres_stated: as the keeper gave them. values: of the tub. feeder_now: g a day that the feeder gives now, 5th,
        50th and 95th percentile; zero where it is empty.
    """

    litres_stated: float
    values: tuple[LearnedValue, ...]
    feeder_now: tuple[float, float, float]

    def of(self, key: str) -> LearnedValue:
        """The value of a key."""
        return next(value for value in self.values if value.key == key)


_KEYS = (
    ("litres", "volume_factor", "L"),
    ("idle half-life", "idle_decay_per_day", "d"),
    ("bather demand", "bather_demand_g_br2_per_hour", "g/h"),
    ("tablet release", "tablet_release_g_per_day", "g/d"),
    ("gas exchange covered", "kla_covered_per_h", "1/h"),
    ("gas exchange with jets", "kla_air_jets_per_h", "1/h"),
    ("fill alkalinity", "fill_total_alkalinity_mg", "mg/L"),
)


def learned(belief: Belief) -> Learned:
    """What is known of the tub at ``belief.at``."""
    z = np.random.default_rng(0).standard_normal(_DRAWS)
    found = []
    for key, name, unit in _KEYS:
        now = _plain(belief, key, belief.value(name))
        before = _plain(belief, key, belief.prior.value(name, z))
        found.append(LearnedValue(key, unit, *_quantiles(now), *_quantiles(before)))
    return Learned(belief.prior.tub.litres, tuple(found), _quantiles(_feeder(belief)))


def _plain(belief: Belief, key: str, value: Array) -> Array:
    if key == "litres":
        return belief.prior.tub.litres * value
    if key != "idle half-life":
        return value
    factor = belief.prior.table["ozone_decay_factor"].value if belief.prior.tub.equipment.ozone_or_uv else 1.0
    half_life: Array = np.log(2.0) / (value * factor)
    return half_life


def _feeder(belief: Belief) -> Array:
    state, rates = belief.state, belief.rates
    full = np.maximum(state.tablet_count * 20.0, 1e-9)
    share = (state.tablet_grams / full) ** rates.release_exponent
    value: Array = 24.0 * rates.release * state.tablet_count * state.opening * share
    return value


def _quantiles(value: Array) -> tuple[float, float, float]:
    low, median, high = np.quantile(value, _LEVELS)
    return float(low), float(median), float(high)


def changes(belief: Belief, told: float = TOLD) -> tuple[Change, ...]:
    """What changed in the present window with at least the probability ``told``, and what was told when earlier windows
    closed; the surest first."""
    now = (*shifts(belief.window, belief.noise, told), *_leak(belief, told))
    seen = {(change.kind, change.direction, change.by) for change in now}
    before = [c for c in belief.noticed if (c.kind, c.direction, c.by) not in seen]
    return tuple(sorted((*now, *before), key=lambda change: -change.probability))


def _leak(belief: Belief, told: float) -> tuple[Change, ...]:
    probability = float(np.mean(belief.value("leak_litres_per_day") > _LEAK))
    return (Change(ChangeKind.LEAK, 1, probability, belief.at),) if probability >= told else ()
