"""Oxidants and bromide by mole, and what a halogen leaves when it is used up.

One mol of oxidant (HOCl or HSO5-) makes one mol of HOBr from one of bromide; what finds no bromide stays.
"1 mg/L as Br2" of HOBr holds 0.5 mg/L of bromine, so it takes 0.5 mg/L of bromide to make (calculation).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tubwater.chemistry.equilibrium import Equilibrium
from tubwater.chemistry.water import Water

__all__ = [
    "activate",
    "bromine_shares",
    "monopersulfate_rate",
    "react_monopersulfate",
    "reduce_halogen",
    "second_order",
    "spend",
]

Array = NDArray[np.float64]
_RATE_25 = 0.70  # kg/(mol s), Lente et al. 2009, from memory (the abstract read prints no constants)
_ENERGY = 50.0e3  # J/mol, 45-60 from memory
_HYDROLYSIS_25 = 3.5e-9  # Br2 + H2O = HOBr + H+ + Br-, mol2/kg2 (Inorg. Chem. 1996, 35:995)
_HYDROLYSIS_ENTHALPY = 62.0e3  # J/mol (the same)
_TRIBROMIDE = 16.1  # Br2 + Br- = Br3-, kg/mol (from memory)


def monopersulfate_rate(celsius: ArrayLike) -> Array:
    """Rate constant of HSO5- + Br-, kg/(mol s); 0.70 at 25 degC, about 1.63 at 38 (Arrhenius, from memory)."""
    kelvin = np.asarray(celsius, dtype=float) + 273.15
    rate: Array = _RATE_25 * np.exp(-_ENERGY / 8.314463 * (1.0 / kelvin - 1.0 / 298.15))
    return rate


def activate(water: Water) -> Water:
    """Chlorine takes bromide by mole, to the end (seconds; Kumar & Margerum 1987, from memory)."""
    moved = np.minimum(water.chlorine, water.bromide)
    return water.plus(chlorine=-moved, bromide=-moved, bromine=moved, chloride=moved)


def react_monopersulfate(water: Water, seconds: ArrayLike) -> Water:
    """Monopersulfate makes bromine of bromide for ``seconds`` at the water's temperature."""
    kt = monopersulfate_rate(water.temperature) * np.asarray(seconds, dtype=float)
    moved = second_order(water.monopersulfate, water.bromide, kt)
    return water.plus(monopersulfate=-moved, bromide=-moved, bromine=moved, sulfate=moved)


def second_order(a: Array, b: Array, kt: Array) -> Array:
    """What of a + b has reacted after k t at second order: exact, never more than the smaller; units of a."""
    small, large = np.minimum(a, b), np.maximum(a, b)
    reach = kt * (large - small)
    slowed = kt * np.where(reach > 1e-12, -np.expm1(-reach) / np.maximum(reach, 1e-12), 1.0)
    result: Array = np.minimum(small * large * slowed / (1.0 + small * slowed), small)
    return result


def spend(water: Water, amount: ArrayLike) -> Water:
    """Halogen used up on organic matter, mol/kg, bromine and chlorine alike, never more than there is.

    The halide is a strong anion and the hypohalous acid is not, so alkalinity falls by one eq per mol.
    """
    active = water.bromine + water.chlorine
    used = np.minimum(np.asarray(amount, dtype=float), active)
    share = np.divide(used, active, out=np.zeros_like(active), where=active > 0)
    bromine, chlorine = water.bromine * share, water.chlorine * share
    return water.plus(bromine=-bromine, bromide=bromine, chlorine=-chlorine, chloride=chlorine)


def reduce_halogen(water: Water, amount: ArrayLike) -> Water:
    """So much of the water's reductant (mol/kg) meets the halogen now; what finds none stays.

    Monopersulfate is left alone: none of the sources says how fast a reducer meets it.
    """
    met = np.minimum(np.minimum(np.asarray(amount, dtype=float), water.reductant), water.bromine + water.chlorine)
    return spend(water, met).plus(reductant=-met)


def bromine_shares(solution: Equilibrium) -> dict[str, Array]:
    """Shares of the active bromine as HOBr, OBr-, Br2 and Br3-, summing to one.

    Dissolved Br2 is volatile and smells; it matters only at low pH with much bromide (0.06 % of the bromine at pH 7.5
    and 20 mg/L of bromide, 3 % at pH 6.5 and 100), too little to move the pH.
    """
    gamma = solution.gammas
    bromide = solution.water.bromide * gamma.davies1  # activity
    kelvin = solution.water.temperature + 273.15
    hydrolysis = _HYDROLYSIS_25 * np.exp(-_HYDROLYSIS_ENTHALPY / 8.314463 * (1.0 / kelvin - 1.0 / 298.15))
    acid, base = solution.species("HOBr"), solution.species("OBr-")
    bromine = acid * bromide * 10.0**-solution.ph / hydrolysis
    tribromide = bromine * _TRIBROMIDE * bromide * gamma.neutral / gamma.davies1
    whole = np.maximum(acid + base + bromine + tribromide, 1e-300)
    return {"HOBr": acid / whole, "OBr-": base / whole, "Br2": bromine / whole, "Br3-": tribromide / whole}
