"""From mol per kg water to what a test prints: mg per litre on the trade's scales."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tubwater.chemistry.constants import DEFAULT, Constants, density
from tubwater.chemistry.equilibrium import equilibrate
from tubwater.chemistry.water import INDEX, Water
from tubwater.errors import UnknownKey

__all__ = [
    "KG_PER_LITRE",
    "MG_PER_EQ_CACO3",
    "MG_PER_MOL",
    "bromide_bank",
    "conductivity",
    "kg_water_per_litre",
    "mg_per_litre",
    "mol_per_kg",
    "total_dissolved_solids",
]

Array = NDArray[np.float64]

KG_PER_LITRE = 0.993  # kg of water in a litre of a tub near 38 degC, where it need not be known better
MG_PER_EQ_CACO3 = 50.0435  # g of CaCO3 per equivalent (100.087 / 2)
# g per mol on the scale named (IUPAC abridged atomic weights, from memory)
MG_PER_MOL: dict[str, float] = {
    "calcium hardness": 100.087,
    "magnesium hardness": 100.087,
    "bromine": 159.808,  # HOBr read as Br2
    "free chlorine": 70.906,  # HOCl read as Cl2
    "free chlorine as bromine": 159.808,  # HOCl read as Br2
    "bromine as chlorine": 70.906,  # HOBr read as Cl2
    "monopersulfate": 70.906,  # read as Cl2 in a total reading
    "demand": 159.808,  # as Br2
    "reductant": 159.808,  # as Br2
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
    "free chlorine": "chlorine",
    "free chlorine as bromine": "chlorine",
    "bromine as chlorine": "bromine",
    "magnesium hardness": "magnesium",
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


# cm3 that a mol takes up in water at 25 degC (apparent volumes at infinite dilution, Millero 1971, from memory;
# those of active halogen, hydantoin and cyanurate are engineering judgement)
_VOLUMES = {
    "carbonate": 24.0,
    "calcium": -18.0,
    "magnesium": -21.0,
    "sodium": -1.2,
    "potassium": 9.0,
    "chloride": 18.0,
    "sulfate": 14.5,
    "bromide": 25.0,
    "other_anions": 29.0,
    "ammonia": 18.0,
    "borate": 39.0,
    "cyanurate": 75.0,
    "hydantoin": 100.0,
    "bromine": 35.0,
    "chlorine": 30.0,
    "monopersulfate": 35.0,
}
# S cm2/mol at 25 degC and infinite dilution (handbook values, from memory)
_CONDUCTANCE = {
    "Ca++": 119.0,
    "Mg++": 106.0,
    "Na+": 50.1,
    "K+": 73.5,
    "NH4+": 73.5,
    "H+": 349.7,
    "OH-": 198.0,
    "HCO3-": 44.5,
    "CO3--": 138.6,
    "SO4--": 160.0,
    "B(OH)4-": 35.0,
    "H2Cy-": 35.0,
    "OBr-": 50.0,
    "OCl-": 50.0,
    "NaSO4-": 35.0,
    "KSO4-": 45.0,
    "CaHCO3+": 40.0,
    "MgHCO3+": 40.0,
}
_PLAIN_CONDUCTANCE = {"chloride": 76.3, "bromide": 78.1, "other_anions": 71.4, "monopersulfate": 50.0}


def kg_water_per_litre(water: Water) -> Array:
    """kg of water in a litre of solution (calculation; within 0.00015 of phreeqc over the reference waters)."""
    swelling = sum((_VOLUMES[name] * getattr(water, name) for name in _VOLUMES), np.zeros(water.shape))
    value: Array = 1.0 / (1000.0 / density(water.temperature) + swelling * 1e-3)
    return value


def bromide_bank(water: Water) -> Array:
    """Bromide whether or not an oxidizer has made it active, mg/L as Br-, shape S."""
    bank: Array = (water.bromide + water.bromine) * MG_PER_MOL["bromide"] * 1000.0 * KG_PER_LITRE
    return bank


def mg_per_litre(water: Water, quantity: str) -> Array:
    """A total in mg/L on the scale of ``MG_PER_MOL``, or "total alkalinity" as CaCO3 (strong-ion alkalinity)."""
    per_litre = kg_water_per_litre(water) * 1000.0
    if quantity == "total alkalinity":
        alkalinity: Array = water.alkalinity * MG_PER_EQ_CACO3 * per_litre
        return alkalinity
    amount: Array = water.totals[_row(quantity)] * MG_PER_MOL[quantity] * per_litre
    return amount


def mol_per_kg(water: Water, quantity: str, mg: ArrayLike) -> Array:
    """The inverse of ``mg_per_litre``: mol/kg (eq/kg for "total alkalinity") from mg/L in this water."""
    scale = MG_PER_EQ_CACO3 if quantity == "total alkalinity" else MG_PER_MOL[_known(quantity)]
    value: Array = np.asarray(mg, dtype=float) / (scale * kg_water_per_litre(water) * 1000.0)
    return value


def _known(quantity: str) -> str:
    if quantity not in MG_PER_MOL:
        raise UnknownKey("quantity", quantity, (*MG_PER_MOL, "total alkalinity"))
    return quantity


def _row(quantity: str) -> int:
    return INDEX[_COMPONENT.get(_known(quantity), quantity)]


def total_dissolved_solids(water: Water) -> Array:
    """Sum of the dissolved matter, mg/L, carbonate counted as bicarbonate (calculation)."""
    value: Array = _grams_per_kg(water) * 1000.0 * kg_water_per_litre(water)
    return value


def conductivity(water: Water, constants: Constants = DEFAULT) -> Array:
    """Electrical conductivity at 25 degC, uS/cm, approximate: within 5 % of phreeqc over the reference waters.

    Limiting conductances of the ions present, each lowered as exp(-f sqrt(I)/(1 + sqrt(I))) with f 0.55 for one charge
    and 1.4 for two (fitted to phreeqc; calculation).
    """
    e = equilibrate(water, constants)
    root = np.sqrt(e.ionic_strength)
    once, twice = (np.exp(-f * root / (1.0 + root)) for f in (_DAMPING_ONE, _DAMPING_TWO))
    total = sum((v * getattr(water, n) for n, v in _PLAIN_CONDUCTANCE.items()), np.zeros(water.shape)) * once
    for name, value in _CONDUCTANCE.items():
        total = total + value * e.species(name) * (twice if name.endswith(("++", "--")) else once)
    result: Array = total * kg_water_per_litre(water) * 1000.0
    return result


_DAMPING_ONE, _DAMPING_TWO = 0.55, 1.4


def _grams_per_kg(water: Water) -> Array:
    total = np.zeros(water.shape)
    for name, grams in _WEIGHTS.items():
        total = total + grams * getattr(water, name)
    return total
