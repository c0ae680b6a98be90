"""The past of a window, re-lived by every member: doses, soaks, time, top-up, and the readings on the way."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from tubwater.chemistry import Composition, dose
from tubwater.dynamics import FULL_TABLET_GRAMS, Mode, Rates, TubState, advance, refill, soak, top_up
from tubwater.tub import Dosed, Drained, Event, FeederSet, Filled, Soaked, Tested

__all__ = ["Products", "fed", "lived", "moments"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Products:
    """Compositions of the keeper's products as they stand on the shelf, and the mass of a tablet, g."""

    compositions: Mapping[str, Composition]
    tablet: Composition | None = None
    tablet_grams: float = FULL_TABLET_GRAMS


def moments(
    state: TubState, rates: Rates, events: Sequence[Event], start: datetime, until: datetime, products: Products
) -> Iterator[tuple[Event | None, TubState]]:
    """Each event with the state just before it, then (None, the state at ``until``).

    Events are in order of time; those after ``until`` are left out.
    """
    now = start
    for event in events:
        if event.at > until:
            break
        state = lived(state, rates, now, max(event.at, now), products)
        now = max(event.at, now)
        yield event, state
        state = _after(state, rates, event, products)
    yield None, lived(state, rates, now, until, products)


def lived(state: TubState, rates: Rates, since: datetime, until: datetime, products: Products) -> TubState:
    """Covered and unused from ``since`` to ``until``, evaporation topped up."""
    hours = (until - since).total_seconds() / 3600.0
    if hours <= 0.0:
        return state
    later = advance(state, rates, hours, Mode.COVERED, products.tablet)
    return top_up(later, rates, rates.evaporation * hours, lost=False)


def _after(state: TubState, rates: Rates, event: Event, products: Products) -> TubState:
    if isinstance(event, Dosed):
        sure = 1.0 if event.certain else 0.5
        water = dose(state.water, products.compositions[event.product], event.grams * sure, rates.litres)
        return TubState(water, state.tablet_grams, state.tablet_count, state.opening, state.ph)
    if isinstance(event, Soaked):
        hours = event.minutes / 60.0
        wet = advance(state, rates, hours, Mode.SOAKING, products.tablet)
        return soak(wet, rates, event.people * hours, event.people)
    if isinstance(event, Drained):
        return refill(state, rates, event.litres / rates.litres)
    if isinstance(event, FeederSet):
        return fed(state, event.tablets, event.opening, products.tablet_grams)
    assert isinstance(event, (Tested, Filled)) or event is not None
    return state


def fed(state: TubState, tablets: float | Array, opening: float | None, tablet_grams: float) -> TubState:
    """The feeder with so many tablets and so far open; a half where the opening is not known."""
    shape = state.ph.shape
    count = np.broadcast_to(np.asarray(tablets, float) * tablet_grams / FULL_TABLET_GRAMS, shape)
    wide = np.full(shape, 0.5 if opening is None else opening)
    return TubState(state.water, count * FULL_TABLET_GRAMS, count, wide, state.ph)
