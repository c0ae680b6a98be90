"""The beginning of a window: what was believed there, as a normal distribution of plain numbers.

Before a window lies either nothing (the prior), a fill, or a past that is kept as the mean and covariance of tub,
kit and water at that moment. Members are standard normal numbers z; mean + root z are the plain numbers.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from tubwater.belief.prior import Prior
from tubwater.chemistry import INDEX, STRONG_CHARGE, Water, equilibrate, water_at_ph
from tubwater.dynamics import TubState

__all__ = ["Anchor", "Beginning", "carried", "filled", "first", "whitened"]

Array = NDArray[np.float64]
_SMALL = {  # mol/kg; below these amounts a total is told on a plain scale, above them on a logarithmic one (judgement)
    "calcium": 1e-5,
    "magnesium": 1e-5,
    "potassium": 1e-5,
    "chloride": 1e-5,
    "sulfate": 1e-5,
    "bromide": 1e-6,
    "other_anions": 1e-6,
    "ammonia": 1e-7,
    "borate": 1e-5,
    "cyanurate": 1e-6,
    "hydantoin": 1e-6,
    "bromine": 2e-6,
    "chlorine": 2e-6,
    "monopersulfate": 1e-6,
    "demand": 2e-6,
    "reductant": 2e-6,
}
_ROWS = np.array([INDEX[name] for name in _SMALL])
_EDGES = np.array(list(_SMALL.values()))[:, None]
_BODY = ("alkalinity", "ph", *(f"log {name}" for name in _SMALL), "tablet grams", "tablet count", "opening")
_FLOOR = 1e-10  # variance added, so that what is the same in all members stays so


class Beginning(StrEnum):
    """What a window begins with."""

    USE = "use"  # a water in use of which nothing is known
    FILL = "fill"  # fresh water
    CARRIED = "carried"  # the water that an earlier window left


@dataclass(frozen=True, eq=False)
class Anchor:
    """A normal distribution at ``at``: of the tub (``core`` rows), then its water, then what else is lasting.

    Attributes:
        names: of the plain numbers. mean: shape (n,). root: lower triangular, shape (n, n).
    """

    at: datetime
    beginning: Beginning
    core: int
    names: tuple[str, ...]
    mean: Array
    root: Array

    @property
    def size(self) -> int:
        """Plain numbers."""
        return len(self.names)

    def plain(self, z: Array) -> tuple[Array, Array]:
        """Rows of tub and water from z (n or more, N)."""
        last = self.core + self._body
        x = self.mean[:last, None] + self.root[:last] @ z[: self.size]
        return x[: self.core], x[self.core : last]

    @property
    def lasting(self) -> tuple[str, ...]:
        """Names of the offsets that stand here."""
        return self.names[self.core + self._body :]

    @property
    def _body(self) -> int:
        return sum(1 for name in self.names[self.core :] if not name.startswith(("kit ", "scoop ")))

    def state(self, prior: Prior, core: Array, body: Array, fill: Water) -> TubState:
        """The tub at this moment, each member."""
        zero = np.zeros(core.shape[1])
        if self.beginning is Beginning.CARRIED:
            return _water_of(body, prior.tub.temperature)
        if self.beginning is Beginning.FILL:
            return TubState(fill, zero, zero, zero + 0.5, zero + 7.5)
        water = prior.water(prior.values(np.concatenate([core, body])))
        return TubState(water, zero, zero, zero + 0.5, zero + 7.5)


def first(prior: Prior, at: datetime, fresh: bool) -> Anchor:
    """The prior, for fill water or a water in use."""
    names = prior.names[: prior.core] if fresh else prior.names
    n = len(names)
    beginning = Beginning.FILL if fresh else Beginning.USE
    return Anchor(at, beginning, prior.core, names, np.zeros(n), np.eye(n))


def filled(at: datetime, core: Array, lasting: tuple[str, ...], offsets: Array, names: tuple[str, ...]) -> Anchor:
    """Fresh water in a tub that is known."""
    x = np.concatenate([core, offsets])
    return Anchor(at, Beginning.FILL, core.shape[0], (*names, *lasting), *_moments(x))


def carried(
    at: datetime, core: Array, state: TubState, lasting: tuple[str, ...], offsets: Array, names: tuple[str, ...]
) -> tuple[Anchor, Array]:
    """The water and the tub at the end of a window as the beginning of the next, and the members' z."""
    x = np.concatenate([core, _body_of(state), offsets])
    anchor = Anchor(at, Beginning.CARRIED, core.shape[0], (*names, *_BODY, *lasting), *_moments(x))
    return anchor, whitened(anchor, x)


def whitened(anchor: Anchor, x: Array) -> Array:
    """The z of plain numbers."""
    return np.asarray(np.linalg.solve(anchor.root, x - anchor.mean[:, None]), dtype=np.float64)


def _moments(x: Array) -> tuple[Array, Array]:
    mean = _single(x.mean(axis=1))
    off = x - mean[:, None]
    covariance = off @ off.T / x.shape[1] + _FLOOR * np.eye(x.shape[0])
    return mean, _single(np.linalg.cholesky(covariance))


def _single(x: Array) -> Array:
    """Rounded to single precision, in which it is kept."""
    return x.astype(np.float32).astype(np.float64)


def _body_of(state: TubState) -> Array:
    water = state.water
    ph = equilibrate(water).ph
    logs = np.log(np.maximum(water.totals[_ROWS], 0.0) + _EDGES)
    rest = (state.tablet_grams, state.tablet_count, state.opening)
    return np.concatenate([[1e3 * water.alkalinity, np.clip(ph, 4.5, 10.0)], logs, rest])


def _water_of(body: Array, temperature: float) -> TubState:
    amounts = np.maximum(np.exp(body[2 : 2 + len(_ROWS)]) - _EDGES, 0.0)
    amounts[amounts < 1e-3 * _EDGES] = 0.0
    totals = np.zeros((len(INDEX), body.shape[1]))
    totals[_ROWS] = amounts
    totals[INDEX["sodium"]] = 1e-3 * body[0] - np.tensordot(STRONG_CHARGE, totals, axes=1)
    short = np.maximum(1e-5 - totals[INDEX["sodium"]], 0.0)
    totals[INDEX["sodium"]] += short
    totals[INDEX["chloride"]] += short
    bare = Water(np.full(body.shape[1], temperature), totals)
    ph = body[1]
    grams, count, opening = np.maximum(body[-3], 0.0), np.maximum(body[-2], 0.0), np.clip(body[-1], 0.0, 1.0)
    return TubState(water_at_ph(bare, ph, bare.alkalinity), grams, count, opening, ph)
