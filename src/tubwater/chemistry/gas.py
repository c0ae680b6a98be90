"""Carbon dioxide between water and air: only the carbonate total moves, alkalinity stays."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tubwater.chemistry.constants import DEFAULT, Constants
from tubwater.chemistry.equilibrium import at_pco2, equilibrate
from tubwater.chemistry.water import Water

__all__ = ["exchange"]

Array = NDArray[np.float64]
_LARGEST_STEP = 0.1


def exchange(water: Water, kla_time: ArrayLike, pco2: ArrayLike, constants: Constants = DEFAULT) -> Water:
    """The water after gas exchange for a dimensionless kLa t against air of ``pco2`` (atm).

    dC/dt = -kLa ([CO2] - [CO2] at pco2); the two-film law (Lewis & Whitman 1924, from memory), integrated by
    Heun steps of at most 0.1 in kLa t.
    """
    whole = np.broadcast_to(np.asarray(kla_time, float), water.shape)
    steps = max(1, int(np.ceil(whole.max(initial=0.0) / _LARGEST_STEP)))
    goal = _co2(at_pco2(water, pco2, constants), constants)
    now = water
    for _ in range(steps):
        first = _co2(now, constants) - goal
        guess = now.plus(carbonate=-first * whole / steps)
        second = _co2(guess, constants) - goal
        now = now.plus(carbonate=-0.5 * (first + second) * whole / steps)
    return now


def _co2(water: Water, constants: Constants) -> Array:
    return equilibrate(water, constants).species("CO2")
