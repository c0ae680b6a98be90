"""The list of species of a solved block."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tubwater.chemistry.cyanurate import FORMS, per_cyanurate
from tubwater.chemistry.reactions import ACIDS, BICARBONATES, CARBONATES, SULFATES
from tubwater.chemistry.state import State

__all__ = ["concentrations"]

Array = NDArray[np.float64]
_METALS = ("K+", "Ca++", "Na+", "Mg++")
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
    metals = dict(zip(_METALS, now.metals, strict=True))
    found["MgOH+"] = k["MgOH+"] * metals["Mg++"] * inverse_h
    for pairs, ligand in ((BICARBONATES, by_h), (CARBONATES, by_h2), (SULFATES, now.sulfate)):
        found |= {pair: k[pair] * metals[metal] * ligand for metal, pair in pairs.items()}
    return found | metals | _weak(now, k) | _ladder(now, k)


def _weak(now: State, k: dict[str, Array]) -> dict[str, Array]:
    found: dict[str, Array] = {}
    calcium = now.metals[_METALS.index("Ca++")]
    for component in now.constants.acids:
        ion = ACIDS[component]
        pair = k["CaB(OH)4+"] * calcium if ion == "B(OH)4-" and "CaB(OH)4+" in k else np.zeros(1)
        acid = now.total(component) / (1.0 + (k[ion] + pair) * now.inverse_h)
        found |= {_NEUTRAL[ion]: acid, ion: acid * k[ion] * now.inverse_h}
        if ion == "B(OH)4-" and "CaB(OH)4+" in k:
            found["CaB(OH)4+"] = acid * pair * now.inverse_h
    if "NH3" in k:
        ratio = k["NH3"] * now.inverse_h
        found["NH4+"] = now.total("ammonia") / (1.0 + ratio)
        found["NH3"] = found["NH4+"] * ratio
    return found


def _ladder(now: State, k: dict[str, Array]) -> dict[str, Array]:
    """Cyanuric acid and its forms, with the hypochlorous acid that they leave free."""
    hocl = now.hocl
    if hocl is None:
        return {}
    per = per_cyanurate(np.stack([k[name] for name in FORMS]), now.inverse_h)
    per *= np.stack([hocl**taken for _, taken in FORMS.values()])
    acid = now.total("cyanurate") / (1.0 + per.sum(axis=0))
    found = {"H3Cy": acid} | dict(zip(FORMS, acid * per, strict=True)) | {"HOCl": hocl}
    return found | {"OCl-": hocl * k["OCl-"] * now.inverse_h}
