"""A dose: grams of a product into litres of water, linear in the totals; a reducer takes halogen at once.

Thiosulfate, ascorbic acid and peroxide meet the halogen within seconds (H2O2 + OBr- 1.2e6 kg/(mol s), Water Res.
1997, 31:900), so what a product brings of it does not wait as the slow part of the bathers' does.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from tubwater.chemistry.composition import Composition
from tubwater.chemistry.halogens import reduce_halogen
from tubwater.chemistry.units import kg_water_per_litre
from tubwater.chemistry.water import Water

__all__ = ["dose"]


def dose(water: Water, composition: Composition, grams: ArrayLike, litres: ArrayLike) -> Water:
    """The water after ``grams`` of a product dissolved in ``litres`` of it.

    Args:
        water: any shape S. composition: of the product as it stands on the shelf.
        grams: g, broadcast against S. litres: L at the water's temperature, broadcast against S.
    Returns:
        The water mixed: what a reducer could not find halogen for stays in it.
    """
    kg = np.asarray(litres, dtype=float) * kg_water_per_litre(water)
    per_kg = np.asarray(grams, dtype=float) / kg
    shape = np.broadcast_shapes(water.shape, per_kg.shape)
    column = composition.per_gram.reshape((-1, *([1] * len(shape))))
    totals = water.totals.reshape((-1, *([1] * (len(shape) - len(water.shape))), *water.shape))
    mixed = Water(np.broadcast_to(water.temperature, shape), totals + column * per_kg)
    return reduce_halogen(mixed, mixed.reductant) if mixed.reductant.any() else mixed
