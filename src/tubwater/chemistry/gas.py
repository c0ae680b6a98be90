"""Carbon dioxide between water and air: only the carbonate total moves, alkalinity stays."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tubwater.chemistry.constants import DEFAULT, Constants
from tubwater.chemistry.equilibrium import Equilibrium, at_pco2, equilibrate
from tubwater.chemistry.water import Water

__all__ = ["exchange"]

Array = NDArray[np.float64]
_REACH = 0.25  # step in units of the fastest time constant


def exchange(water: Water, kla_time: ArrayLike, pco2: ArrayLike, constants: Constants = DEFAULT) -> Water:
    """The water after gas exchange for a dimensionless kLa t against air of ``pco2`` (atm).

    dC/dt = -kLa ([CO2] - [CO2] at pco2); the two-film law (Lewis & Whitman 1924, from memory).  Integrated by the
    classical Runge-Kutta rule with steps of a quarter of the fastest time constant: error below 1e-5 of the change.
    """
    whole = np.broadcast_to(np.asarray(kla_time, float), np.broadcast_shapes(np.shape(kla_time), water.shape))
    now = _wide(water, whole.shape)
    goal = equilibrate(at_pco2(now, pco2, constants), constants).species("CO2")
    solution = equilibrate(now, constants)
    done, length = 0.0, 1.0
    while done < 1.0 - 1e-12 and whole.size:
        length = min(1.0 - done, _REACH / max(float((_speed(solution) * whole).max()), 1e-9))
        now = _step(now, solution, goal, whole * length, constants)
        solution = equilibrate(now, constants, solution.ph)
        done += length
    return now


def _step(water: Water, solution: Equilibrium, goal: Array, time: Array, constants: Constants) -> Water:
    first = goal - solution.species("CO2")
    second = _flow(water, first * (0.5 * time), goal, constants, solution.ph)
    third = _flow(water, second * (0.5 * time), goal, constants, solution.ph)
    fourth = _flow(water, third * time, goal, constants, solution.ph)
    return _moved(water, time * (first + 2.0 * (second + third) + fourth) / 6.0)


def _flow(water: Water, amount: Array, goal: Array, constants: Constants, ph: Array) -> Array:
    return goal - equilibrate(_moved(water, amount), constants, ph).species("CO2")


def _moved(water: Water, amount: Array) -> Water:
    return water.replaced(carbonate=np.maximum(water.carbonate + amount, 0.0))


def _speed(solution: Equilibrium) -> Array:
    """d[CO2]/dC at constant alkalinity, between 0 and 1, from the closed buffer intensity (kept above 0.02)."""
    s = solution.species
    alkalinity = s("HCO3-") + s("CaHCO3+") + s("MgHCO3+") + s("NaHCO3") + 2.0 * (s("CO3--") + s("CaCO3") + s("MgCO3"))
    mean = alkalinity / np.maximum(solution.water.carbonate, 1e-12)  # charge per carbonate
    free = s("CO2") / np.maximum(solution.water.carbonate, 1e-12)
    rise = 2.302585 * s("CO2") * mean  # fall of CO2 with pH at constant carbonate
    value: Array = np.clip(free + rise * mean / np.maximum(solution.buffer_intensity, 1e-12), 0.02, 1.0)
    return value


def _wide(water: Water, shape: tuple[int, ...]) -> Water:
    totals = water.totals.reshape((-1, *([1] * (len(shape) - len(water.shape))), *water.shape))
    return Water(np.broadcast_to(water.temperature, shape), np.broadcast_to(totals, (totals.shape[0], *shape)))
