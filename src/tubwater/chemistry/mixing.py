"""Mixing, diluting, heating and dosing: linear in the totals."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from tubwater.chemistry.composition import Composition
from tubwater.chemistry.units import kg_water_per_litre
from tubwater.chemistry.water import Water

__all__ = ["dose", "heat", "mix"]


def mix(a: Water, b: Water, share_of_b: ArrayLike) -> Water:
    """A mixture by mass of water; ``share_of_b`` 0 to 1, broadcast. Temperatures mix by mass too."""
    share = np.asarray(share_of_b, dtype=float)
    temperature = a.temperature * (1.0 - share) + b.temperature * share
    return Water(temperature, a.totals * (1.0 - share) + b.totals * share)


def heat(water: Water, temperature: ArrayLike) -> Water:
    """The same water at another temperature (degC), closed: every total stays."""
    return water.replaced(temperature=temperature)


def dose(water: Water, composition: Composition, grams: ArrayLike, litres: ArrayLike) -> Water:
    """The water after ``grams`` of a product dissolved in ``litres`` of it.

    Args:
        composition: of the product as it stands on the shelf. grams: g. litres: L at the water's temperature.
    """
    kg = np.asarray(litres, dtype=float) * kg_water_per_litre(water)
    per_kg = np.asarray(grams, dtype=float) / kg
    shape = np.broadcast_shapes(water.shape, per_kg.shape)
    column = composition.per_gram.reshape((-1, *([1] * len(shape))))
    return Water(np.broadcast_to(water.temperature, shape), water.totals + column * per_kg)
