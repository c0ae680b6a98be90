"""Verdict, plan and water analysis for one tub and what was entered of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from tubwater.advice import Situation, Wishes, judge, make_plan
from tubwater.advice.saturation import Lime, lime_of
from tubwater.belief import Products, believe
from tubwater.chemistry import Composition, precipitation_potential
from tubwater.errors import InputError
from tubwater.facts import Role, guidelines, substances
from tubwater.facts.quantity import Quantity
from tubwater.measurement import method_problem
from tubwater.services.ports import SnapshotStore
from tubwater.tub import Event, Expectation, Plan, Shelf, Tested, Tub, Verdict

__all__ = ["WaterReport", "case_of", "plan_for", "products_of", "verdict_for", "water_for", "water_of"]

_MEMBERS = 2000


@dataclass(frozen=True)
class WaterReport:
    """What is believed of the water: quantities, and 5th, 50th and 95th percentile of the rest.

    Attributes:
        saturation_index: of calcite. lime: what that does. precipitation_potential: mg/L of calcium carbonate that
            would come out, or below zero go in. litres: in the tub. suspects: quantities whose readings do not fit.
    """

    quantities: tuple[Expectation, ...]
    saturation_index: tuple[float, float, float]
    lime: Lime
    precipitation_potential: tuple[float, float, float]
    litres: tuple[float, float, float]
    suspects: tuple[str, ...]


def products_of(shelf: Shelf) -> Products:
    """Compositions of the products as they stand on the shelf; without a strength nothing is computed."""
    table = substances()
    found: dict[str, Composition] = {}
    tablet, grams = None, 20.0
    for product in shelf.products:
        if product.declared_parts:
            found[product.name] = _blend(product.declared_parts)
        elif product.strength:
            found[product.name] = table[product.substance].composition.scaled(product.strength)
        if product.name in found and Role.SLOW_BROMINE in table[product.substance].roles and tablet is None:
            tablet, grams = found[product.name], product.tablet_grams or 20.0
    return Products(found, tablet, grams)


def _blend(parts: Mapping[str, float]) -> Composition:
    whole = Composition.of()
    for key, share in parts.items():
        whole = whole.plus(substances()[key].composition.scaled(share))
    return whole


def case_of(
    tub: Tub,
    shelf: Shelf,
    events: Sequence[Event],
    now: datetime,
    seed: int = 0,
    members: int = _MEMBERS,
    checkpoints: SnapshotStore | None = None,
) -> Situation:
    """The situation at ``now`` (aware datetime): the belief from everything entered, and the guideline in force.

    With ``checkpoints`` the past is not lived again; the answer is the same.

    Raises:
        InputError: a reading by a method that is not known or does not read that quantity.
    """
    _refuse_unread(events)
    belief = believe(tub, products_of(shelf), events, now, seed, members, checkpoints)
    return Situation(tub, shelf, belief, guidelines()[tub.guideline], now)


def _refuse_unread(events: Sequence[Event]) -> None:
    tests = [(n, e) for n, e in enumerate(events) if isinstance(e, Tested)]
    found = [method_problem(r, f"events[{n}].readings[{i}]") for n, e in tests for i, r in enumerate(e.readings)]
    if problems := [problem for problem in found if problem is not None]:
        raise InputError(problems)


def verdict_for(tub: Tub, shelf: Shelf, events: Sequence[Event], now: datetime, seed: int = 0) -> Verdict:
    """May people get in at ``now``?"""
    return judge(case_of(tub, shelf, events, now, seed))


def plan_for(
    tub: Tub,
    shelf: Shelf,
    events: Sequence[Event],
    now: datetime,
    wishes: Wishes | None = None,
    seed: int = 0,
    members: int = _MEMBERS,
) -> Plan:
    """What to add, how much, in what order, when to wait and retest."""
    return make_plan(case_of(tub, shelf, events, now, seed, members), wishes or Wishes(), seed)


def water_for(tub: Tub, shelf: Shelf, events: Sequence[Event], now: datetime, seed: int = 0) -> WaterReport:
    """What the water is, with its doubt (5th, 50th and 95th percentile)."""
    return water_of(case_of(tub, shelf, events, now, seed))


def water_of(case: Situation) -> WaterReport:
    """What the water of a situation is, with its doubt."""
    names = (case.sanitizer_quantity, Quantity.PH, Quantity.TOTAL_ALKALINITY, Quantity.CALCIUM_HARDNESS)
    rows = [Expectation(q, *_middle_first(case.observer.read(q))) for q in names]
    thin, index = case.belief.thinned(200), case.observer.solved.si_calcite
    return WaterReport(
        tuple(rows),
        _quantiles(index),
        lime_of(index),
        _quantiles(precipitation_potential(thin.state.water)),
        _quantiles(case.rates.litres),
        case.suspects,
    )


def _quantiles(values: np.ndarray) -> tuple[float, float, float]:
    low, median, high = np.quantile(values, (0.05, 0.5, 0.95))
    return float(low), float(median), float(high)


def _middle_first(values: np.ndarray) -> tuple[float, float, float]:
    low, median, high = _quantiles(values)
    return median, low, high
