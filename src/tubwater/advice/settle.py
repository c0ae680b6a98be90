"""From a found plan to one that can be measured and that does not hang on chance.

Every lever is tried again in the keeper's own measures on other members, one after another and each member with the
same future for all candidates. Of what is as good as the best within the noise of the estimate (one standard error
of the difference member by member, Breiman et al., Classification and Regression Trees, 1984, from memory), the
least is taken: a tie goes to doing nothing, for the sanitizer within half as much, since too little is worse than too
much; and tablets stay in the feeder rather than go in and out.  Where the candidates are many, those that some of the
members show to be clearly worse are left behind (a race: Maron & Moore 1994, from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from tubwater.advice.measures import grams_floor, smallest
from tubwater.advice.search import Problem, utility
from tubwater.tub import Product

__all__ = ["settled"]

Array = NDArray[np.float64]
_SAME = 0.004  # of the hours; less is no difference (judgement)
_LEVELS, _FEW = 7, 4  # amounts tried of each lever besides those near the present one
_LADDER = (  # share of what the feeder takes, and opening (judgement: half open where that is enough)
    *((1 / 6, 0.25), (1 / 6, 0.5), (1 / 6, 1.0), (1 / 3, 0.25), (1 / 3, 0.5), (1 / 3, 0.75), (1 / 2, 0.25)),
    *((1 / 2, 0.5), (1 / 2, 0.75), (2 / 3, 0.75), (5 / 6, 0.75), (5 / 6, 1.0), (1.0, 1.0)),
)
_AS_GOOD = 0.5  # standard errors within which less is as good
_FEEDS_AS_GOOD = 1.0  # the same for the feeder, which is left as it is rather than follow the noise
_TAKE_OUT = 3.0  # standard errors by which it has to be better to take tablets out again
_TURNED = 2.0  # tablets moved that a feeder turned from shut to open counts as (judgement)
_TURNS = 2
_MANY, _FIRST = 16, 4  # candidates, and members in the first part, from which it is a race; parts of the members
_NEIGHBOURS = 1  # settings of the feeder on each side that are tried once more
_BEHIND = 3.0  # standard errors by which a candidate is left behind


def settled(
    problem: Problem,
    products: Mapping[str, Product | None],
    tablet_grams: float,
    found: Mapping[str, float],
    bounds: Mapping[str, tuple[float, float]],
) -> dict[str, float]:
    """The levers in whole measures, each the least that is as good as the best.

    Args:
        products: behind each lever, by its name; ``after_soak`` as well. found: where to start, grams.
    """
    levers = {name: _nearest(products.get(name), value, bounds[name][1]) for name, value in found.items()}
    for turn in range(_TURNS):
        levers |= _supply(problem, levers, products, tablet_grams, bounds, _NEIGHBOURS if turn else None)
        supplied = dict(levers)
        for name in () if turn else ("after_soak", "oxidizer"):
            levers[name] = _one(problem, levers, name, products.get(name), bounds[name])
        levers |= _balance(problem, levers, products, bounds)
        if levers == supplied:  # what the feeder and the sanitizer were chosen beside
            break
    return levers


def _nearest(product: Product | None, grams: float, most: float) -> float:
    """The nearest measurable amount that is not above ``most``; what is not measured stays."""
    return grams if product is None else grams_floor(product, min(grams + 0.5 * smallest(product), most))


def _one(
    problem: Problem,
    levers: Mapping[str, float],
    name: str,
    product: Product | None,
    bound: tuple[float, float],
) -> float:
    """The least amount of one lever that is as good as the best."""
    low, high = bound
    if product is None or high <= low:
        return levers[name]
    amounts = _levels(product, levers[name], high, _LEVELS)
    noise = 0.0 if name == "after_soak" else _AS_GOOD
    return amounts[_least(_worth(problem, [dict(levers) | {name: grams} for grams in amounts]), noise)]


def _balance(
    problem: Problem,
    levers: Mapping[str, float],
    products: Mapping[str, Product | None],
    bounds: Mapping[str, tuple[float, float]],
) -> dict[str, float]:
    """Acid beside bicarbonate, or base without acid, all at once: how much of one hangs on the other. Of what is as
    good, the fewest grams."""
    found = {}
    for name in ("acid", "bicarbonate", "soda_ash"):
        product, (low, high) = products.get(name), bounds[name]
        free = product is not None and high > low
        found[name] = _levels(product, levers[name], high, _FEW) if product is not None and free else [levers[name]]
    rows = {(acid, base, 0.0) for acid in found["acid"] for base in found["bicarbonate"]}
    rows |= {(0.0, base, ash) for base in {0.0, levers["bicarbonate"]} for ash in found["soda_ash"]}
    ranked = [dict(zip(found, row, strict=True)) for row in sorted(rows, key=sum)]
    return ranked[_least(_worth(problem, [dict(levers) | row for row in ranked]), noise=_AS_GOOD)]


def _levels(product: Product, present: float, high: float, count: int) -> list[float]:
    """Measurable amounts from nothing to the most, those around the present one among them, in order."""
    step = smallest(product)
    wide = [grams_floor(product, share * high) for share in np.linspace(0.0, 1.0, count)]
    near = [present + k * step for k in (-1, 0, 1)]
    return sorted({round(g, 6) for g in (*wide, *near) if -1e-9 <= g <= high + 1e-9})


def _supply(
    problem: Problem,
    levers: Mapping[str, float],
    products: Mapping[str, Product | None],
    tablet: float,
    bounds: Mapping[str, tuple[float, float]],
    reach: int | None = None,
) -> dict[str, float]:
    """Feeder, oxidizer now and dose after a soak together, since one stands in for the other.

    Of what is as good, that which moves the fewest tablets and turns the feeder least; none is taken out again without
    a clear gain. ``reach``: how far from the present setting of the feeder on the ladder; anywhere without.
    """
    rows = [
        {**setting, "after_soak": after, "oxidizer": now}
        for setting in _feeders(levers, tablet, bounds, reach)
        for after in _near(products.get("after_soak"), levers["after_soak"], bounds["after_soak"])
        for now in _near(products.get("oxidizer"), levers["oxidizer"], bounds["oxidizer"])
    ]
    there, opening = float(np.median(problem.state.tablet_grams)), float(np.median(problem.state.opening))
    rows.sort(key=lambda row: abs(row["tablet_grams"] - there) / tablet + _TURNED * abs(row["opening"] - opening))
    worth = _worth(problem, [dict(levers) | row for row in rows])
    best = _least(worth, noise=_FEEDS_AS_GOOD)
    kept = [i for i, row in enumerate(rows) if row["tablet_grams"] > there - tablet and np.isfinite(worth[i, -1])]
    if best in kept or not kept:
        return rows[best]
    stay = kept[_least(worth[kept], noise=_AS_GOOD)]
    return rows[(stay, best)[_least(worth[[stay, best]], noise=_TAKE_OUT)]]


def _feeders(
    levers: Mapping[str, float], tablet: float, bounds: Mapping[str, tuple[float, float]], reach: int | None
) -> list[dict[str, float]]:
    """Settings to try: the present one alone where the feeder is fixed, else the ladder, or what is near on it."""
    present = {name: levers[name] for name in ("tablet_grams", "opening")}
    low, high = bounds["tablet_grams"]
    if high <= low or bounds["opening"][1] <= bounds["opening"][0]:
        return [present]
    ladder = [{"tablet_grams": n * tablet, "opening": o} for n, o in _settings(int(high / tablet + 1e-9))]
    if reach is None or present not in ladder:
        return ladder
    place = ladder.index(present)
    return ladder[max(0, place - reach) : place + reach + 1]


def _near(product: Product | None, present: float, bound: tuple[float, float]) -> list[float]:
    """The present amount with one measure less and one more, as far as they are allowed."""
    low, high = bound
    if product is None or high <= low:
        return [present]
    return sorted(
        {float(np.clip(present + k * smallest(product), low, grams_floor(product, high))) for k in (-1, 0, 1)}
    )


def _settings(most: int) -> list[tuple[int, float]]:
    """Tablets and opening, from nothing to the full feeder wide open; a fuller feeder is opened further."""
    found = {(0, 0.5), *((max(1, round(share * most)), opening) for share, opening in _LADDER)}
    return sorted(found, key=lambda setting: setting[0] * setting[1])


def _worth(problem: Problem, candidates: Sequence[Mapping[str, float]]) -> Array:
    """Utility of each candidate for each member, (C, M); not a number for the members that it was not tried on."""
    trial = {name: np.array([row[name] for row in candidates]) for name in candidates[0]}
    first = problem.members // _FIRST
    if len(candidates) < _MANY or first < _MANY:
        return utility(problem.run(trial), trial)
    found = np.full((len(candidates), problem.members), np.nan)
    found[:, :first] = utility(problem[:first].run(trial), trial)
    worse, error = _behind(found[:, :first])
    stay = worse <= np.maximum(_BEHIND * error, _SAME)
    trial = {name: values[stay] for name, values in trial.items()}
    found[stay, first:] = utility(problem[first:].run(trial), trial)
    return found


def _least(worth: Array, noise: float) -> int:
    """Index of the first candidate that is as good as the best; the candidates stand in the order of preference.

    ``noise``: standard errors that count as no difference; none where less would leave the water without sanitizer.
    """
    worse, error = _behind(worth)
    return int(np.argmax(worse <= np.maximum(noise * error, _SAME)))


def _behind(worth: Array) -> tuple[Array, Array]:
    """By how much each candidate is worse than the best, and the standard error of that, (C,)."""
    worse = worth[int(np.nanargmax(worth.mean(axis=1)))] - worth
    return worse.mean(axis=1), worse.std(axis=1) / np.sqrt(worth.shape[1])
