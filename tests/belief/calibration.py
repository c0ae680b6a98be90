"""Ranks of the truth among the members of a belief, over draws of the model."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import chi2

from belief.histories import NOW, PRODUCTS, TUB, Past, compared, read_by_kit
from tubwater.belief import believe, foretell, prior_of

__all__ = ["BINS", "Ranked", "ranked", "uniform"]

BINS = 8


@dataclass(frozen=True)
class Ranked:
    """One draw: the share of members below the truth, by quantity, and how the last update went."""

    ranks: dict[str, float]
    healthy: bool
    distinct: float
    acceptance: float


def ranked(past: Past, draws: int, members: int, seed: int) -> list[Ranked]:
    """So many truths of one past, each with its own readings and its own belief."""
    truth = foretell(TUB, PRODUCTS, past.events, NOW, seed=700_000 + seed, members=draws)
    wanted = compared(prior_of(TUB), truth.latent, truth.rates, truth.state)
    rng = np.random.default_rng([seed, 3])
    found = []
    for i in range(draws):
        events = read_by_kit(past, truth, i, rng)
        held = believe(TUB, PRODUCTS, events, NOW, seed=seed + i, members=members)
        assert held.info is not None
        mine = compared(held.prior, held.latent, held.rates, held.state)
        ranks = {name: _rank(wanted[name][i], mine[name], rng) for name in mine}
        found.append(Ranked(ranks, held.info.healthy, held.info.distinct, held.info.acceptance))
    return found


def _rank(truth: float, members: np.ndarray, rng: np.random.Generator) -> float:
    """Share of members below the truth; ties (a clean zero of sanitizer) count as drawn."""
    below, same = float(np.mean(members < truth - 1e-9)), float(np.mean(np.abs(members - truth) <= 1e-9))
    return below + float(rng.random()) * same


def uniform(ranks: Sequence[float]) -> tuple[list[int], float]:
    """Counts by bin, and the chance of counts at least as uneven if ranks are uniform (chi-square)."""
    counts = np.histogram(np.clip(ranks, 0.0, 1.0), bins=BINS, range=(0.0, 1.0))[0]
    expected = len(ranks) / BINS
    return [int(n) for n in counts], float(chi2.sf(np.sum(np.square(counts - expected)) / expected, BINS - 1))
