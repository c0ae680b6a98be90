"""Saturation with calcium carbonate: how far, and how much would fall out or dissolve."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tubwater.chemistry.constants import DEFAULT, Constants
from tubwater.chemistry.equilibrium import equilibrate
from tubwater.chemistry.units import kg_water_per_litre
from tubwater.chemistry.water import Water

__all__ = ["calcite_index", "precipitate", "precipitation_potential"]

Array = NDArray[np.float64]
_MG_PER_MOL_CALCITE = 100.087e3


def calcite_index(water: Water, constants: Constants = DEFAULT) -> Array:
    """Saturation index of calcite, shape S."""
    return equilibrate(water, constants).si_calcite


def precipitation_potential(water: Water, constants: Constants = DEFAULT) -> Array:
    """Calcium carbonate precipitation potential, mg/L as CaCO3, closed to the air; negative dissolves.

    Found as the amount x that leaves a saturation index of zero with calcium - x and carbonate - x (so that
    alkalinity falls by 2 x); Standard Methods 2330 C defines the quantity (cited from memory).
    """
    amount: Array = _to_saturation(water, constants) * _MG_PER_MOL_CALCITE * kg_water_per_litre(water)
    return amount


def precipitate(water: Water, constants: Constants = DEFAULT) -> Water:
    """The water after the calcite above saturation has fallen out; unsaturated waters are left alone."""
    gone = np.maximum(_to_saturation(water, constants), 0.0)
    return water.plus(calcium=-gone, carbonate=-gone)


def _to_saturation(water: Water, constants: Constants) -> Array:
    """mol/kg of CaCO3 to saturation: bisection to a bracket, then the Illinois rule (monotone in x)."""
    most = np.minimum(water.calcium, water.carbonate)
    low, high = np.full(water.shape, -0.02), most * (1.0 - 1e-9)
    f_low, f_high = _index_after(water, low, constants), _index_after(water, high, constants)
    for _ in range(80):
        x = (low * f_high - high * f_low) / (f_high - f_low)
        x = np.where((x > low) & (x < high), x, 0.5 * (low + high))
        f = _index_after(water, x, constants)
        above = f > 0.0
        f_high = np.where(above, f_high * np.where(f_high < -0.0, 0.5, 1.0), f)
        f_low = np.where(above, f, f_low * 0.5)
        low, high = np.where(above, x, low), np.where(above, high, x)
        if np.abs(f).max(initial=0.0) < 1e-7 or (high - low).max(initial=0.0) < 1e-10:
            break
    result: Array = x
    return result


def _index_after(water: Water, x: Array, constants: Constants) -> Array:
    return equilibrate(water.plus(calcium=-x, carbonate=-x), constants).si_calcite
