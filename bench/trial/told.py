"""The project's plans for a tub that it is told all about: what learning the tub could bring at most.

The water, the rates and the lasting errors of the scoops are the hidden tub's own, for every member of the belief; the
laws stay the model's, and so do the verdicts, limits and measures.  The rates are those of three days on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tubwater.advice import Situation
from tubwater.belief import Observer, Products
from tubwater.chemistry import INDEX, Water
from tubwater.dynamics import Mode, Rates, TubState
from tubwater.tub import Event

from .keeping import SUBSTANCES, Moment
from .policies import Ours
from .tank import BR2, ROWS, Tank

__all__ = ["Told"]

Array = NDArray[np.float64]
_AHEAD = 72.0  # h; the middle of the days until the next visit
_BLOWN = 0.5  # share of a soak with air jets
_OPEN = 2.0  # times the still surface, cover off
_COMPONENTS = {
    "C": "carbonate",
    "Ca": "calcium",
    "Mg": "magnesium",
    "Na": "sodium",
    "K": "potassium",
    "Cl": "chloride",
    "SO4": "sulfate",
    "Br": "bromide",
    "OX": "bromine",
    "MPS": "monopersulfate",
    "DMH": "hydantoin",
    "FAST": "reductant",
    "LAG": "demand",
}


class Told(Ours):
    """Our plans on the hidden tub itself; readings and the log still make the verdict."""

    def case(self, moment: Moment, extra: Sequence[Event] = ()) -> Situation:
        """What would be believed, with the truth in its place."""
        case = super().case(moment, extra)
        belief, celsius = case.belief, moment.scene.tub.temperature
        state = _state(belief.state, moment.tank, celsius)
        rates = _rates(belief.rates, moment)
        products = _products(belief.products, moment)
        return replace(case, belief=replace(belief, state=state, rates=rates, products=products))


def _water(x: Array, celsius: float, members: int) -> Water:
    """Rows of the tank, (rows,), as a water of so many members."""
    totals = np.zeros((len(INDEX), members))
    for row, component in _COMPONENTS.items():
        totals[INDEX[component]] = x[ROWS.index(row)]
    return Water(np.full(members, celsius), totals)


def _state(believed: TubState, tank: Tank, celsius: float) -> TubState:
    one = np.ones(believed.ph.shape)
    count = one * np.maximum(tank.count[0], 1e-6)
    state = TubState(
        _water(tank.x[:, 0], celsius, one.size), one * tank.grams[0], count, believed.opening, one * tank.ph[0]
    )
    return replace(state, ph=Observer(state).solved.ph)


def _rates(believed: Rates, moment: Moment) -> Rates:
    n, hour, one = moment.scene.nature, moment.hour + _AHEAD, np.ones(believed.litres.shape)
    kla = {
        Mode.COVERED: one * moment.tank.covered,
        Mode.OPEN: one * _OPEN * n.still,
        Mode.CIRCULATING: one * n.jets,
        Mode.SOAKING: one * (n.jets + _BLOWN * n.air),
    }
    return replace(
        believed,
        litres=one * n.litres,
        idle_decay=one * n.decay / 24.0 * n.wander(0, hour),
        decay_q10=one * n.q10,
        kla=kla,
        demand=one * n.bather / BR2 * n.wander(2, hour),
        fast_share=one * n.fast,
        slow_rate=one / n.lag_hours,
        release=one * n.release / 24.0 * n.wander(1, hour) * n.clogged(hour),
        carry_out=one * n.carry,
        evaporation=one * n.evaporation / 24.0,
        leak=0.0 * one,
        fill=_water(n.fill, moment.scene.tub.temperature, one.size),
    )


def _products(believed: Products, moment: Moment) -> Products:
    """As strong as they are, in this keeper's scoop; tablets are counted."""
    strength, scoop = moment.scene.nature.strength, {**moment.scene.house.scoop, "bcdmh": 1.0}
    real = {
        name: recipe.scaled(strength[SUBSTANCES[name]] * scoop[SUBSTANCES[name]])
        for name, recipe in believed.compositions.items()
    }
    return replace(believed, compositions=real)
