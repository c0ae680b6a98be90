"""The steps of tempered sampling with moves, which carries a cloud of members to the posterior without collapse.

Method: sequential Monte Carlo with adaptive tempering (Del Moral, Doucet & Jasra 2006, J. R. Stat. Soc. B 68:411),
differential-evolution moves (ter Braak 2006, Stat. Comput. 16:239) and preconditioned Crank-Nicolson moves
(Cotter et al. 2013, Stat. Sci. 28:424); citations from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["SamplerInfo", "defended", "drawn", "evolved", "log_mean", "rise", "stirred"]

Array = NDArray[np.float64]
_ESS_SHARE = 0.5
_FAR_SHARE, _FAR = 0.2, 0.6  # share of members, and standard deviations beyond the edge (judgement)


@dataclass(frozen=True)
class SamplerInfo:
    """How an update went.

    Attributes:
        rungs: temperature steps. acceptance: mean share of accepted moves of the whole window.
        distinct: share of members that differ from every other at the end.
        moved: share of members that accepted a move of the whole window in this update.
        log_evidence: estimate for the readings of this update.
    """

    rungs: int
    acceptance: float
    distinct: float
    moved: float
    log_evidence: float

    @property
    def healthy(self) -> bool:
        """False where the cloud hardly moved and its spread cannot be trusted."""
        return self.acceptance > 0.05 and self.distinct > 0.5


def rise(score: Array, most: float, weights: Array | float = 0.0) -> float:
    """The largest rise in inverse temperature that keeps the effective sample size, at most ``most``.

    ``weights``: log weights that the members have already, of which the effective sample size may lose half.
    """
    if _ess(most * score + weights) >= _ESS_SHARE * _ess(weights + 0.0 * score):
        return most
    low, high = 0.0, most
    for _ in range(40):
        middle = 0.5 * (low + high)
        enough = _ess(middle * score + weights) >= _ESS_SHARE * _ess(weights + 0.0 * score)
        low, high = (middle, high) if enough else (low, middle)
    return max(low, 1e-6 * most)


def _ess(log_weights: Array) -> float:
    w = np.exp(log_weights - log_weights.max())
    return float(w.sum() ** 2 / np.square(w).sum() / w.size)


def log_mean(values: Array) -> float:
    """log of the mean of exp(values)."""
    top = values.max()
    return float(top + np.log(np.mean(np.exp(values - top))))


def drawn(log_weights: Array, rng: np.random.Generator) -> NDArray[np.intp]:
    """Indices of a systematic resampling, in random order."""
    w = np.exp(log_weights - log_weights.max())
    edges = np.cumsum(w) / w.sum()
    points = (rng.random() + np.arange(w.size)) / w.size
    return rng.permutation(np.minimum(np.searchsorted(edges, points), w.size - 1))


def evolved(z: Array, rng: np.random.Generator, share: float) -> Array:
    """Differential evolution on a random ``share`` of the coordinates of each member."""
    size, n = z.shape
    first, second = rng.integers(0, n, n), rng.integers(0, n, n)
    rows = rng.random((size, n)) < max(share, 1.5 / size)
    scale = 2.38 / np.sqrt(2.0 * np.maximum(rows.sum(axis=0), 1)) * rng.choice([0.4, 0.7, 1.0], n)
    shift = scale * (z[:, first] - z[:, second]) + 0.02 * rng.standard_normal(z.shape)
    moved: Array = z + np.where(rows, shift, 0.0)
    return moved


def stirred(numbers: Array, rng: np.random.Generator, share: float, step: float) -> Array:
    """A preconditioned Crank-Nicolson step of size ``step`` on a random ``share`` of rows of normal numbers."""
    rows = np.flatnonzero(rng.random(numbers.shape[0]) < max(share, 1.5 / numbers.shape[0]))
    moved = numbers.copy()
    fresh = rng.standard_normal((rows.size, numbers.shape[1]))
    moved[rows] = np.sqrt(1.0 - step**2) * numbers[rows] + step * fresh
    return moved


def defended(noise: Array, edge: float, rng: np.random.Generator) -> tuple[Array, Array]:
    """Standard normal rows of which a share of members gets one far out, and the log weights that make up for it.

    A defensive mixture (Hesterberg 1995, Technometrics 37:185, from memory): what is rare is among the members before
    a reading asks for it. Beyond ``edge``, on a random side of a random row, the distance is exponential.
    """
    rows, n = noise.shape
    found, chosen = noise.copy(), rng.random(n) < _FAR_SHARE
    row, side = np.asarray(rng.integers(0, rows, n)), np.asarray(rng.choice([-1.0, 1.0], n))
    far = side * (edge + _FAR * rng.standard_exponential(n))
    found[row[chosen], np.flatnonzero(chosen)] = far[chosen]
    beyond = np.maximum(np.abs(found) - edge, 0.0)
    ratio = np.where(np.abs(found) > edge, np.exp(-beyond / _FAR + 0.5 * found**2) * np.sqrt(2.0 * np.pi) / _FAR, 0.0)
    mixture = 1.0 - _FAR_SHARE + _FAR_SHARE * ratio.sum(axis=0) / (2.0 * rows)
    return found, -np.log(mixture)
