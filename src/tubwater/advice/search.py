"""The search for a plan: cross-entropy over the levers, judged on the same scenarios.

Method: Rubinstein & Kroese, The Cross-Entropy Method, 2004 (from memory). Two blocks, one after the other:
the sanitizer first (it needs no pH), then acid and base, then the sanitizer's fine setting once more.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tubwater.advice.rollout import Bands, Future, Levers, Lived, Recipes, live
from tubwater.chemistry import FrozenBuffer
from tubwater.dynamics import Rates, TubState

__all__ = ["Choice", "Problem", "score", "search", "spread_out", "utility"]

Array = NDArray[np.float64]
_SANITIZER = ("oxidizer", "tablet_grams", "opening", "after_soak")
_BALANCE = ("acid", "bicarbonate", "soda_ash")
_SOFT = 0.15
_BELOW = 2.0  # taken off besides: an hour below the keep-out limit weighs as three out of the band
_ABOVE = 2.0
_AFTERWARDS = 1.0  # of the hours: the worth of the days after the next visit (judgement)
_THING = 0.004  # of the hours, for each thing a person must do


@dataclass(frozen=True, eq=False)
class Problem:
    """What is to be decided: scenarios, recipes and the bounds of each lever (low, high).

    ``acid_beside``: most acid for each gram of bicarbonate at the same visit, g; no limit where alkalinity is enough.
    """

    state: TubState
    rates: Rates
    buffer: FrozenBuffer
    recipes: Recipes
    future: Future
    bands: Bands
    bounds: Mapping[str, tuple[float, float]]
    acid_beside: float = np.inf

    @property
    def members(self) -> int:
        """Possible tubs, each with its own future."""
        return int(self.state.ph.shape[-1])

    def __getitem__(self, members: slice) -> Problem:
        """The same with only those members."""
        picked = {name: getattr(self, name)[members] for name in ("state", "rates", "buffer", "future")}
        return replace(self, **picked)

    def run(self, candidates: Mapping[str, Array]) -> Lived:
        """Live candidates, each lever of shape (C,)."""
        kind = self.state.ph.dtype
        levers = Levers(**{name: np.asarray(candidates[name], kind)[:, None] for name in Levers.names()})
        if np.isfinite(self.acid_beside):
            levers = replace(levers, acid=np.minimum(levers.acid, self.acid_beside * levers.bicarbonate))
        return live(self.state, self.rates, self.buffer, levers, self.recipes, self.future, self.bands)


@dataclass(frozen=True)
class Choice:
    """The levers chosen, by name, and their score (share of hours less prices)."""

    levers: Mapping[str, float]
    score: float


def search(problem: Problem, rng: np.random.Generator, rounds: int = 4, candidates: int = 48) -> Choice:
    """The best levers found. Levers without room in ``bounds`` stay where they are."""
    best = {name: low for name, (low, _) in problem.bounds.items()}
    value = -np.inf
    for block, share in ((_SANITIZER, 1.0), (_BALANCE, 1.0), (_SANITIZER, 0.5)):
        turns = max(1, round(rounds * share))
        best, value = _block(problem, best, value, block, rng, turns, candidates, narrow=share < 1.0)
    return Choice(best, float(value))


def score(lived: Lived, candidates: Mapping[str, Array]) -> Array:
    """Mean over members of hours in band less prices, shape (C,)."""
    value: Array = utility(lived, candidates).mean(axis=-1)
    return value


def utility(lived: Lived, candidates: Mapping[str, Array]) -> Array:
    """Hours in band less prices of each candidate for each member, shape (C, M)."""
    hours = lived.in_band - _SOFT * lived.soft - _BELOW * lived.below - _ABOVE * lived.above
    hours = hours - _AFTERWARDS * _left_behind(lived.end_net)
    things = sum(np.asarray(candidates[name]) > 0.0 for name in ("acid", "bicarbonate", "soda_ash", "oxidizer"))
    value: Array = hours - _THING * np.asarray(things)[:, None]
    return value


def _left_behind(net: Array) -> Array:
    """How badly the days after the next visit begin, 0 to 1: with a debt that one dose does not pay, or far too much.

    What a week is worth from where it begins, as the hidden tubs of the trial showed it, drawn with straight lines.
    """
    short = 0.5 * np.clip((3.0 - net) / 8.0, 0.0, 1.0) + 0.5 * np.clip((-5.0 - net) / 25.0, 0.0, 1.0)
    value: Array = short + 0.8 * np.clip((net - 8.0) / 12.0, 0.0, 1.0)
    return value


def spread_out(problem: Problem, best: Mapping[str, float], rng: np.random.Generator, count: int) -> dict[str, Array]:
    """Candidates around the best and all over the room, for questions that need more than one plan."""
    trial = {}
    for name, (low, high) in problem.bounds.items():
        near = best[name] + 0.25 * (high - low) * rng.standard_normal(count)
        far = low + (high - low) * rng.random(count)
        trial[name] = np.clip(np.where(rng.random(count) < 0.7, near, far), low, high)
        trial[name][0] = best[name]
    acid = rng.random(count) < 0.5
    acid[0] = best["acid"] > 0.0
    trial["soda_ash"] = np.where(acid, 0.0, trial["soda_ash"])
    trial["acid"] = np.where(acid, trial["acid"], 0.0)
    return trial


def _block(
    problem: Problem,
    best: dict[str, float],
    value: float,
    names: tuple[str, ...],
    rng: np.random.Generator,
    rounds: int,
    candidates: int,
    narrow: bool,
) -> tuple[dict[str, float], float]:
    free = [n for n in names if problem.bounds[n][1] > problem.bounds[n][0]]
    if not free:
        return best, value
    low = np.array([problem.bounds[n][0] for n in free])
    high = np.array([problem.bounds[n][1] for n in free])
    mean = np.array([best[n] for n in free]) if narrow else low + 0.35 * (high - low)
    spread = (0.12 if narrow else 0.4) * (high - low)
    for _ in range(rounds):
        drawn = np.clip(mean + spread * rng.standard_normal((candidates, len(free))), low, high)
        drawn[0] = [best[n] for n in free]
        drawn = _either_or(drawn, free, rng)
        trial = {n: np.full(len(drawn), v) for n, v in best.items()}
        trial.update({n: drawn[:, i] for i, n in enumerate(free)})
        scores = score(problem.run(trial), trial)
        order = np.argsort(-scores)
        elite = drawn[order[: max(6, candidates // 8)]]
        mean, spread = elite.mean(axis=0), elite.std(axis=0) + 0.02 * (high - low)
        if scores[order[0]] > value or not np.isfinite(value):
            value = float(scores[order[0]])
            best = best | {n: float(drawn[order[0], i]) for i, n in enumerate(free)}
    return best, value


def _either_or(drawn: Array, free: list[str], rng: np.random.Generator) -> Array:
    """Never acid and soda ash at one visit; and nothing at all is always a candidate for each balance lever."""
    if "acid" not in free and "bicarbonate" not in free:
        return drawn
    out = drawn.copy()
    nothing = rng.random(out.shape) < 0.4
    acid = rng.random(len(out)) < 0.5
    for i, name in enumerate(free):
        nothing[:, i] |= {"acid": ~acid, "soda_ash": acid}.get(name, False)
    nothing[0] = False
    out[nothing] = 0.0
    if len(out) > 1:
        out[1] = 0.0
    return out
