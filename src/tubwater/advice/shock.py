"""How much oxidizer brings sanitizer that was lost back, so that it holds overnight."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tubwater.advice.decide import Kit, oxidizer_to
from tubwater.advice.now import Situation
from tubwater.chemistry import Composition, Water, freeze
from tubwater.dynamics import Mode, Rates, TubState, advance
from tubwater.facts import defaults

__all__ = ["shock_to_hold"]

Array = NDArray[np.float64]
_SIZES = 11  # shocks tried
_MEMBERS = 200
_HOLDS = 0.9  # probability with which a shock has to hold (judgement)
_KG_PER_LITRE = 0.993


def shock_to_hold(case: Situation, kit: Kit) -> float:
    """Grams for sanitizer that was lost: the smallest shock that most likely still holds the lower aim at the second
    reading, the night after with the cover closed; from the lower to the usual end of ``shock_mg``."""
    if kit.oxidizer is None:
        return 0.0
    shock, hours = defaults()["shock_mg"], defaults()["two_readings_hours"].value
    grams = np.array([oxidizer_to(case, kit, goal) for goal in np.linspace(shock.low, shock.value, _SIZES)])
    thin = case.belief.thinned(min(_MEMBERS, case.belief.size))
    state = _oxidized(thin.state, thin.rates, case.products.compositions[kit.oxidizer.name], grams[:, None])
    buffer = freeze(thin.state.water)
    state = advance(state, thin.rates, 1.0, Mode.CIRCULATING, None, buffer, longest=1.0)
    state = advance(state, thin.rates, hours, Mode.COVERED, None, buffer, longest=4.0)
    low = case.limits(case.sanitizer_quantity).aim_low
    held = np.mean(case.sanitizer_of(state) >= low, axis=1) >= _HOLDS
    return float(grams[int(np.argmax(held))] if held.any() else grams[-1])


def _oxidized(state: TubState, rates: Rates, recipe: Composition, grams: Array) -> TubState:
    """The tub with ``grams`` (C, 1) of an oxidizer in, shape (C, M)."""
    shape = np.broadcast_shapes(grams.shape, state.ph.shape)
    wide = np.broadcast_to(state.water.totals[:, None, :], (len(state.water.totals), *shape))
    totals = wide + recipe.per_gram[:, None, None] * grams / (rates.litres * _KG_PER_LITRE)
    tablets, count, opening, ph = (
        np.broadcast_to(a, shape) for a in (state.tablet_grams, state.tablet_count, state.opening, state.ph)
    )
    return TubState(Water(np.broadcast_to(state.water.temperature, shape), totals), tablets, count, opening, ph)
