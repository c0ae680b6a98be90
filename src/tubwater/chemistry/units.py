"""From mol per kg water to what a test prints: mg per litre on the trade's scales."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tubwater.chemistry.constants import density
from tubwater.chemistry.water import Water

__all__ = ["MG_PER_EQ_CACO3", "MG_PER_MOL", "kg_water_per_litre", "mg_per_litre", "total_dissolved_solids"]

Array = NDArray[np.float64]

MG_PER_EQ_CACO3 = 50.0435  # g of CaCO3 per equivalent (100.087 / 2)
# g per mol on the scale named (IUPAC abridged atomic weights, from memory)
MG_PER_MOL: dict[str, float] = {
    "calcium hardness": 100.087,
    "magnesium hardness": 100.087,
    "bromine": 159.808,  # HOBr read as Br2
    "free chlorine": 70.906,  # HOCl read as Cl2
    "bromide": 79.904,
    "chloride": 35.453,
    "sulfate": 96.0626,
    "sodium": 22.98977,
    "potassium": 39.0983,
    "cyanuric acid": 129.075,
    "hydantoin": 128.131,
    "borate": 10.811,
    "ammonia": 14.0067,
}
_COMPONENT = {
    "calcium hardness": "calcium",
    "magnesium hardness": "magnesium",
    "free chlorine": "chlorine",
    "cyanuric acid": "cyanurate",
}
# g per mol as dissolved, carbonate as HCO3-, borate as B(OH)3
_WEIGHTS = {
    "carbonate": 61.017,
    "calcium": 40.078,
    "magnesium": 24.305,
    "sodium": 22.98977,
    "potassium": 39.0983,
    "chloride": 35.453,
    "sulfate": 96.0626,
    "bromide": 79.904,
    "other_anions": 62.005,
    "ammonia": 18.039,
    "borate": 61.832,
    "cyanurate": 129.075,
    "hydantoin": 128.131,
    "bromine": 96.911,
    "chlorine": 52.460,
    "monopersulfate": 113.07,
}


def kg_water_per_litre(water: Water) -> Array:
    """kg of water in a litre of solution; dissolved matter fills its own volume to within 0.1 % (calculation)."""
    value: Array = density(water.temperature) / 1000.0 - 0.2e-6 * _grams_per_kg(water) * 1000.0
    return value


def mg_per_litre(water: Water, quantity: str) -> Array:
    """A total in mg/L on the scale of ``MG_PER_MOL``, or "total alkalinity" as CaCO3 (strong-ion alkalinity)."""
    per_litre = kg_water_per_litre(water) * 1000.0
    if quantity == "total alkalinity":
        alkalinity: Array = water.alkalinity * MG_PER_EQ_CACO3 * per_litre
        return alkalinity
    amount: Array = getattr(water, _COMPONENT.get(quantity, quantity)) * MG_PER_MOL[quantity] * per_litre
    return amount


def total_dissolved_solids(water: Water) -> Array:
    """Sum of the dissolved matter, mg/L, carbonate counted as bicarbonate (calculation)."""
    value: Array = _grams_per_kg(water) * 1000.0 * kg_water_per_litre(water)
    return value


def _grams_per_kg(water: Water) -> Array:
    total = np.zeros(water.shape)
    for name, grams in _WEIGHTS.items():
        total = total + grams * getattr(water, name)
    return total
