"""The list of species of a solved block."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tubwater.chemistry.reactions import ACIDS, BICARBONATES, CARBONATES, SULFATES
from tubwater.chemistry.state import State

__all__ = ["concentrations"]

Array = NDArray[np.float64]
_METALS = ("Ca++", "Mg++", "Na+", "K+")
_NEUTRAL = {"B(OH)4-": "B(OH)3", "OBr-": "HOBr", "OCl-": "HOCl", "DMH-": "DMH"}


def concentrations(now: State) -> dict[str, Array]:
    """Every species of the solution by name, mol/kg, shape (N,)."""
    k = dict(zip(now.constants.names, now.renewed(), strict=True))
    inverse_h = now.inverse_h
    by_h = now.co2 * inverse_h
    by_h2 = by_h * inverse_h
    found = {"CO2": now.co2, "HCO3-": k["HCO3-"] * by_h, "CO3--": k["CO3--"] * by_h2}
    found |= {"H+": k["H+"] / inverse_h, "OH-": k["OH-"] * inverse_h, "SO4--": now.sulfate}
    found["HSO4-"] = k["HSO4-"] * now.sulfate / inverse_h
    found["MgOH+"] = k["MgOH+"] * now.metals[1] * inverse_h
    found |= dict(zip(_METALS, now.metals, strict=True))
    for pairs, ligand in ((BICARBONATES, by_h), (CARBONATES, by_h2), (SULFATES, now.sulfate)):
        found |= {pair: k[pair] * free * ligand for pair, free in zip(pairs, now.metals, strict=False)}
    return found | _weak(now, k) | now.ladder


def _weak(now: State, k: dict[str, Array]) -> dict[str, Array]:
    found: dict[str, Array] = {}
    for component in now.constants.acids:
        ion = ACIDS[component]
        pair = k["CaB(OH)4+"] * now.metals[0] if ion == "B(OH)4-" and "CaB(OH)4+" in k else np.zeros(1)
        acid = now.total(component) / (1.0 + (k[ion] + pair) * now.inverse_h)
        found |= {_NEUTRAL[ion]: acid, ion: acid * k[ion] * now.inverse_h}
        if ion == "B(OH)4-" and "CaB(OH)4+" in k:
            found["CaB(OH)4+"] = acid * pair * now.inverse_h
    if "NH3" in k:
        ratio = k["NH3"] * now.inverse_h
        found["NH4+"] = now.total("ammonia") / (1.0 + ratio)
        found["NH3"] = found["NH4+"] * ratio
    return found
