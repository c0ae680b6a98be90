"""Tempered sampling with moves: from a standard normal cloud to the posterior, without collapse.

Method: sequential Monte Carlo with adaptive tempering (Del Moral, Doucet & Jasra 2006, J. R. Stat. Soc. B 68:411)
and differential-evolution moves (ter Braak 2006, Stat. Comput. 16:239), mixed with preconditioned Crank-Nicolson
moves (Cotter et al. 2013, Stat. Sci. 28:424); citations from memory.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["SamplerInfo", "temper"]

Array = NDArray[np.float64]
LogLikelihood = Callable[[Array], Array]
_ESS_SHARE = 0.5
_MOST_RUNGS = 60


@dataclass(frozen=True)
class SamplerInfo:
    """How a tempering run went.

    Attributes:
        rungs: temperature steps. acceptance: mean share of accepted moves.
        distinct: share of members that differ from every other at the end.
        moved: share of members that accepted a move on the last rung. log_evidence: estimate.
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


def temper(
    latent: Array, log_likelihood: LogLikelihood, rng: np.random.Generator, sweeps: int = 4
) -> tuple[Array, SamplerInfo]:
    """Move ``latent`` (D, N), standard normal, to the posterior under ``log_likelihood`` (D, N) -> (N,)."""
    z, score, beta = latent, log_likelihood(latent), 0.0
    rungs, accepted, evidence, moved, step = 0, [], 0.0, 1.0, 0.4
    while beta < 1.0 and rungs < _MOST_RUNGS:
        rise = _rise(score, 1.0 - beta)
        evidence += _log_mean(rise * score)
        z, score = _resampled(z, score, rise, rng)
        beta = min(1.0, beta + rise)
        before = z
        for sweep in range(sweeps + (2 if beta >= 1.0 else 0)):
            z, score, rate = _move(z, score, beta, log_likelihood, rng, step, sweep % 2 == 0)
            accepted.append(rate)
            step = float(np.clip(step * np.exp(0.6 * (rate - 0.3)), 0.05, 0.9))
        moved = float(np.mean(np.any(z != before, axis=0)))
        rungs += 1
    distinct = np.unique(z[0]).size / z.shape[1]
    return z, SamplerInfo(rungs, float(np.mean(accepted)) if accepted else 1.0, distinct, moved, evidence)


def _rise(score: Array, most: float) -> float:
    """The largest rise in inverse temperature that keeps the effective sample size."""
    if _ess(most * score) >= _ESS_SHARE:
        return most
    low, high = 0.0, most
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if _ess(middle * score) >= _ESS_SHARE else (low, middle)
    return max(low, 1e-6 * most)


def _ess(log_weights: Array) -> float:
    w = np.exp(log_weights - log_weights.max())
    return float(w.sum() ** 2 / np.square(w).sum() / w.size)


def _log_mean(values: Array) -> float:
    top = values.max()
    return float(top + np.log(np.mean(np.exp(values - top))))


def _resampled(z: Array, score: Array, rise: float, rng: np.random.Generator) -> tuple[Array, Array]:
    """Systematic resampling by the weights of one rung."""
    w = np.exp(rise * (score - score.max()))
    edges = np.cumsum(w) / w.sum()
    points = (rng.random() + np.arange(w.size)) / w.size
    picked = np.minimum(np.searchsorted(edges, points), w.size - 1)
    return z[:, picked], score[picked]


def _move(
    z: Array, score: Array, beta: float, log_likelihood: LogLikelihood, rng: np.random.Generator, step: float, pcn: bool
) -> tuple[Array, Array, float]:
    """One sweep over all members; the stationary density is the prior times the likelihood to the beta."""
    if pcn:
        proposed = np.sqrt(1.0 - step**2) * z + step * rng.standard_normal(z.shape)
        ratio_prior = np.zeros(score.size)
    else:
        proposed = _evolved(z, rng)
        ratio_prior = 0.5 * (np.square(z).sum(axis=0) - np.square(proposed).sum(axis=0))
    fresh = log_likelihood(proposed)
    ratio = beta * (fresh - score) + ratio_prior
    take = np.log(rng.random(score.size)) < ratio
    return np.where(take, proposed, z), np.where(take, fresh, score), float(np.mean(take))


def _evolved(z: Array, rng: np.random.Generator) -> Array:
    """Differential evolution on a random subset of the coordinates."""
    size, n = z.shape
    first, second = rng.integers(0, n, n), rng.integers(0, n, n)
    rows = rng.random((size, n)) < max(4.0 / size, 0.25)
    scale = 2.38 / np.sqrt(2.0 * np.maximum(rows.sum(axis=0), 1)) * rng.choice([0.5, 1.0], n)
    shift = scale * (z[:, first] - z[:, second]) + 0.02 * rng.standard_normal(z.shape)
    moved: Array = z + np.where(rows, shift, 0.0)
    return moved
