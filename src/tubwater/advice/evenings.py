"""Who will bathe in the coming days: as the keeper told at first, and more and more as the logbook shows."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from tubwater.advice.now import Situation
from tubwater.facts import defaults
from tubwater.tub import Soaked, Tub

__all__ = ["Evenings", "evenings", "taken_share", "usual_use"]

Array = NDArray[np.float64]
_TOLD_WEEKS = 2.0  # that the told number of soaks weighs (judgement)
_TOLD_SOAKS = 4.0  # that the told people and minutes weigh (judgement)
_NEWEST = 30  # soaks of the logbook that count (judgement)
_PEOPLE_SPREAD, _MINUTES_SPREAD = 0.25, 0.3  # sigma of the logarithm, evening by evening (judgement)
_SOON_AFTER = timedelta(hours=4)  # a dose this soon after a soak counts as its dose (judgement)
_USUAL_WEIGHT = 4.0  # soaks that the usual share weighs as much as (judgement)


@dataclass(frozen=True, eq=False)
class Evenings:
    """One soak or none on each evening of each member, shape (days, M).

    Attributes:
        people: who get out; 0 where nobody bathed. bather_hours: with what they bring, soak by soak.
        noted: person-hours as somebody notes them, and so may dose for them; 0 where nobody does.
    """

    people: Array
    bather_hours: Array
    noted: Array


def evenings(case: Situation, days: int, members: int, rng: np.random.Generator) -> Evenings:
    """Evenings to come: how often by a gamma posterior, people and minutes from soaks told and noted."""
    table, shape = defaults(), (days, members)
    per_week, (people, minutes) = _how_often(case, members, rng), _usual(case, shape, rng)
    unseen = table["unlogged_soaks_per_week"].value
    bathes = rng.random(shape) < np.minimum((per_week + unseen) / 7.0, 1.0)
    heads = np.maximum(np.round(people), 1.0) * bathes
    load = np.exp(table["soak_load_spread"].value * rng.standard_normal(shape))
    noted = rng.random(shape) < per_week / (per_week + unseen)
    hours = heads * minutes / 60.0
    return Evenings(heads, hours * load, hours * noted)


def usual_use(tub: Tub) -> tuple[float, float, float]:
    """Soaks a week, people and minutes as the keeper said, or as is usual."""
    table = defaults()
    said = {
        "soaks_per_week": tub.soaks_per_week,
        "people_per_soak": tub.people_per_soak,
        "minutes_per_soak": tub.minutes_per_soak,
    }
    per_week, people, minutes = (table[name].value if value is None else value for name, value in said.items())
    return per_week, people, minutes


def _noted(case: Situation) -> list[Soaked]:
    soaks = [e for e in case.belief.events if isinstance(e, Soaked) and e.at <= case.now]
    return sorted(soaks, key=lambda e: e.at)[-_NEWEST:]


def _how_often(case: Situation, members: int, rng: np.random.Generator) -> Array:
    """Soaks a week that somebody notes, (M,): a gamma prior about what was told, and the soaks counted since."""
    told, soaks = usual_use(case.tub)[0], _noted(case)
    first = soaks[0].at if len(soaks) == _NEWEST else min((e.at for e in case.belief.events), default=case.now)
    weeks = max((case.now - first) / timedelta(weeks=1), 0.0)
    count = told * _TOLD_WEEKS + len(soaks)
    return rng.gamma(max(count, 1e-3), 1.0 / (_TOLD_WEEKS + weeks), members)


def _usual(case: Situation, shape: tuple[int, int], rng: np.random.Generator) -> tuple[Array, Array]:
    """People and minutes of soaks: drawn about what was told, or one of those noted."""
    (_, people, minutes), soaks = usual_use(case.tub), _noted(case)
    heads = people * np.exp(_PEOPLE_SPREAD * rng.standard_normal(shape))
    long = minutes * np.exp(_MINUTES_SPREAD * rng.standard_normal(shape))
    if not soaks:
        return heads, long
    pick = rng.integers(0, len(soaks), shape)
    seen = rng.random(shape) < len(soaks) / (len(soaks) + _TOLD_SOAKS)
    return (
        np.where(seen, np.array([e.people for e in soaks])[pick], heads),
        np.where(seen, np.array([e.minutes for e in soaks])[pick], long),
    )


def taken_share(case: Situation) -> float:
    """How often a soak is followed by its dose: the usual share, moved by what this logbook shows."""
    soaks = [e.at for e in case.belief.events if isinstance(e, Soaked)]
    doses = [d.at for d in case.doses()]
    kept = sum(any(timedelta(0) <= at - soak <= _SOON_AFTER for at in doses) for soak in soaks)
    usual = defaults()["after_soak_taken"].value
    return (kept + _USUAL_WEIGHT * usual) / (len(soaks) + _USUAL_WEIGHT)
