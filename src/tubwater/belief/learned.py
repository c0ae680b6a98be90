"""What was learned of a tub, in plain values beside what was assumed before, and what changed about it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from tubwater.belief.belief import Belief
from tubwater.belief.history import Slot
from tubwater.belief.life import jump_edge
from tubwater.belief.prior import DRIFTING

__all__ = ["Change", "ChangeKind", "Learned", "LearnedValue", "changes", "learned"]

Array = NDArray[np.float64]
_LEVELS = (0.05, 0.5, 0.95)
_DRAWS = 4000
_TOLD = 0.8  # probability from which on a change is told (judgement)
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


class ChangeKind(StrEnum):
    """What may have changed at a tub; the direction is that of the rate."""

    LEAK = "leak"
    IDLE_LOSS = "idle loss"  # up: filter, biofilm, a lamp; down: cleaned
    COVER = "cover"  # gas exchange with the cover on; down: a tighter one
    JETS = "jets"
    BATHERS = "bathers"
    FEEDER = "feeder"


@dataclass(frozen=True)
class Change:
    """Something that changed within the present window. ``direction``: 1 up, -1 down. ``by``: at the latest."""

    kind: ChangeKind
    direction: int
    probability: float
    by: datetime


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


_KINDS = {
    "idle_decay_per_day": ChangeKind.IDLE_LOSS,
    "kla_covered_per_h": ChangeKind.COVER,
    "kla_air_jets_per_h": ChangeKind.JETS,
    "bather_demand_g_br2_per_hour": ChangeKind.BATHERS,
    "tablet_release_g_per_day": ChangeKind.FEEDER,
}


def changes(belief: Belief, told: float = _TOLD) -> tuple[Change, ...]:
    """What changed in the present window with at least the probability ``told``, the surest first."""
    found = [change for change in (*_jumps(belief), *_leaks(belief)) if change.probability >= told]
    return tuple(sorted(found, key=lambda change: -change.probability))


def _jumps(belief: Belief) -> list[Change]:
    """Each rate that may have jumped, up or down, in any week of the window."""
    row, weeks = 0, []
    for happening in belief.window:
        if happening.what is Slot.DRIFT:
            weeks.append((happening.at, belief.noise[row : row + happening.draws]))
        row += happening.draws
    if not weeks:
        return []
    edge, found = jump_edge(), []
    for i, name in enumerate(DRIFTING):
        for direction in (1, -1) if name in _KINDS else ():
            jumped = np.any([direction * noise[i] > edge for _, noise in weeks], axis=0)
            found.append(Change(_KINDS[name], direction, float(jumped.mean()), weeks[-1][0]))
    return found


def _leaks(belief: Belief) -> list[Change]:
    probability = float(np.mean(belief.value("leak_litres_per_day") > _LEAK))
    return [Change(ChangeKind.LEAK, 1, probability, belief.at)]
