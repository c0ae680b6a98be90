"""A cheap stand-in for re-living a window: readings as a linear function of all plain numbers.

Fitted to the cloud at hand, and without interferences. Members walk many steps on the stand-in, and only where they
end is lived in full; the acceptance of the end corrects for what the stand-in got wrong (surrogate transition: Liu
2001, Monte Carlo Strategies in Scientific Computing, ch. 9; Christen & Fox 2005, J. Comput. Graph. Stat. 14:795; both
from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tubwater.belief.readings import KIT_SHARE, METER, kit_name, own_rows
from tubwater.belief.sampler import evolved, stirred
from tubwater.facts.quantity import Quantity
from tubwater.measurement import Bin, bin_of
from tubwater.tub import Filled, Tested

__all__ = ["Surrogate", "fitted", "walked"]

Array = NDArray[np.float64]
_RIDGE = 0.005  # of the members, against fitting chance
_STEPS = 16
_LEAP = 2.5  # standard deviations
_SIZES = (0.15, 0.35, 0.7)
_SHARES = (0.1, 0.35, 1.0)
_LOGISTIC = float(np.sqrt(1.0 - KIT_SHARE**2) * np.sqrt(3.0) / np.pi)  # scale of the error per one-sigma
_WITH_MONOPERSULFATE = (Quantity.BROMINE, Quantity.TOTAL_CHLORINE)
_SMALL = 0.3  # mg/L; a logarithm of the value and this is nearly linear in the plain numbers
_LINEAR = (Quantity.PH, Quantity.TEMPERATURE, Quantity.TABLETS_LEFT)


@dataclass(frozen=True, eq=False)
class Surrogate:
    """Readings, one a row; every array (R, 1) unless said.

    Attributes:
        slopes, middle: the eased true value as a linear function of the plain numbers, (R, numbers) and (R, 1).
        logarithm: 1 where easing is a logarithm, else 0. bins: low, high, absolute, relative, quadrature, blunder.
        bias, bias_middle: the kit's offset as a linear function of the first plain numbers.
        power: of the likelihood, below 1 for the newest. feature: of the plain numbers, in which readings are linear.
    """

    slopes: Array
    middle: Array
    logarithm: Array
    bins: tuple[Array, ...]
    bias: Array
    bias_middle: Array
    power: Array
    feature: Callable[[Array], Array]

    def score(self, u: Array) -> Array:
        """log P of all readings at plain numbers u (numbers, N)."""
        eased = self.middle + self.slopes @ self.feature(u)
        value = np.where(self.logarithm > 0.0, np.exp(np.minimum(eased, 12.0)) - _SMALL, eased)
        low, high, absolute, relative, quadrature, blunder = self.bins
        spread = relative * np.abs(value)
        sd = np.where(quadrature > 0.0, np.hypot(absolute, spread), np.maximum(absolute, spread))
        centre = value + sd * (self.bias_middle + self.bias @ u[: self.bias.shape[1]])
        scale = 2.0 * _LOGISTIC * sd
        good = 0.5 * (np.tanh((high - centre) / scale) - np.tanh((low - centre) / scale))
        total: Array = (self.power * np.log(np.maximum(good, 0.0) + blunder + 1e-300)).sum(axis=0)
        return total


@dataclass(frozen=True, eq=False)
class _Row:
    """One reading: its kit, its bin, the eased true values (N,), whether easing is a logarithm, its power."""

    kit: str
    bin: Bin
    eased: Array
    logarithm: bool
    power: float


def fitted(
    updates: Sequence[Tested | Filled],
    rows: Sequence[Array],
    u: Array,
    offsets: tuple[tuple[str, ...], Array, Array],
    beta: float,
    feature: Callable[[Array], Array],
) -> Surrogate:
    """The stand-in by ridge regression of ``rows`` on ``u``; offsets: names, mean (k, 1), root (k, rows of z)."""
    powers = [1.0] * (len(updates) - 1) + [beta]
    heard = [row for parts in zip(updates, rows, powers, strict=True) for row in _rows(*parts)]
    names, mean, root = offsets
    slopes, middle = _regression(feature(u), np.stack([row.eased for row in heard]))
    weights = np.zeros((len(heard), len(names)))
    for i, row in enumerate(heard):
        weights[i, [j for j, name in enumerate(names) if name == row.kit]] = KIT_SHARE
    return Surrogate(
        slopes,
        middle,
        _column([float(row.logarithm) for row in heard]),
        _bins([row.bin for row in heard]),
        weights @ root,
        weights @ mean,
        _column([row.power for row in heard]),
        feature,
    )


def _rows(update: Tested | Filled, rows: Array, power: float) -> Iterator[_Row]:
    if isinstance(update, Filled):
        if update.litres is not None:
            litres, width = update.litres, 1e-3 * update.litres
            plain = Bin(litres - width, litres + width, 0.0, METER, False, 1.0, 1e-9)
            yield _Row("", plain, np.log(rows[0] + _SMALL), True, power)
        return
    for reading, row in zip(update.readings, own_rows(rows), strict=True):
        found = bin_of(reading)
        seen = (row + rows[1] if reading.quantity in _WITH_MONOPERSULFATE else row) / found.factor
        logarithm = reading.quantity not in _LINEAR
        eased = np.log(np.maximum(seen, 0.0) + _SMALL) if logarithm else seen
        yield _Row(kit_name(reading), found, eased, logarithm, power)


def _regression(u: Array, y: Array) -> tuple[Array, Array]:
    centre, level = u.mean(axis=1, keepdims=True), y.mean(axis=1, keepdims=True)
    x = u - centre
    gram = x @ x.T + _RIDGE * u.shape[1] * np.eye(u.shape[0])
    slopes = np.linalg.solve(gram, x @ (y - level).T).T
    return slopes, level - slopes @ centre


def _bins(bins: Sequence[Bin]) -> tuple[Array, ...]:
    names = ("low", "high", "absolute", "relative", "quadrature", "blunder")
    return tuple(_column([float(getattr(b, name)) for b in bins]) for name in names)


def _column(values: Sequence[float]) -> Array:
    return np.array(values, dtype=float)[:, None]


def walked(surrogate: Surrogate, u: Array, lasting: int, rng: np.random.Generator) -> tuple[Array, Array]:
    """Members after a walk on the stand-in, and log of its likelihood there over that at the start.

    ``lasting``: the first rows of u, which differential evolution moves; their prior is part of the walk.
    """
    start = surrogate.score(u)
    now, score, cloud = u, start, u[:lasting]
    for step in range(_STEPS):
        proposed, prior = _proposed(now, cloud, rng, step % 4)
        fresh = surrogate.score(proposed)
        take = np.log(rng.random(score.size)) < fresh - score + prior
        now, score = np.where(take, proposed, now), np.where(take, fresh, score)
    return now, score - start


def _proposed(now: Array, cloud: Array, rng: np.random.Generator, kind: int) -> tuple[Array, Array | float]:
    """A proposal, and log of its prior density over that of ``now`` as far as the proposal does not keep it."""
    lasting = cloud.shape[0]
    if kind == 3 and now.shape[0] > lasting:
        return _leapt(now, lasting, rng)
    if kind == 2:
        proposed = now.copy()
        proposed[:lasting] += evolved(cloud, rng, 0.3) - cloud
        return proposed, 0.5 * (np.square(now[:lasting]) - np.square(proposed[:lasting])).sum(axis=0)
    return stirred(now, rng, float(rng.choice(_SHARES)), float(rng.choice(_SIZES))), 0.0


def _leapt(now: Array, lasting: int, rng: np.random.Generator) -> tuple[Array, Array]:
    """One number of the unseen, another for each member, drawn anew from a wide distribution: what is rare is tried."""
    members = np.arange(now.shape[1])
    rows = rng.integers(lasting, now.shape[0], members.size)
    old, new = now[rows, members], _LEAP * rng.standard_normal(members.size)
    proposed = now.copy()
    proposed[rows, members] = new
    return proposed, 0.5 * (1.0 - _LEAP**-2) * (old**2 - new**2)
