"""The reactions that the solver counts, each as a conditional constant: concentrations and the activity of H+.

A row says how its ln K is composed of the correlations of ``constants`` and which activity coefficients enter.
The comment beside a row says what it multiplies.  CaOH+ is left out: below 0.02 % of calcium up to pH 9
(calculation from phreeqc.dat).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tubwater.chemistry.activity import reach, weights
from tubwater.chemistry.constants import LOG_K, Constants, debye_hueckel
from tubwater.chemistry.cyanurate import FORMS
from tubwater.chemistry.water import INDEX

__all__ = ["ACIDS", "BICARBONATES", "CARBONATES", "CORE", "SULFATES", "Conditional", "conditional"]

Array = NDArray[np.float64]
_LN10 = float(np.log(10.0))
Terms = dict[str, float]
_C1, _C2 = {"k1": 1.0}, {"k1": 1.0, "k2": 1.0}
_N_D1 = {"neutral": 1.0, "davies1": -1.0}
_CY = {"cy:H3Cy": 1.0}
_MONO = {**_CY, "cy:mono": -1.0}
_DI = {**_MONO, "cy:di": -1.0}

_ROWS: dict[str, tuple[Terms, Terms]] = {
    "H+": ({}, {"hydrogen": -1}),  # h
    "OH-": ({"water": 1}, {"hydroxide": -1}),  # 1/h
    "HCO3-": (_C1, {"co2": 1, "bicarbonate": -1}),  # CO2/h
    "CO3--": (_C2, {"co2": 1, "carbonate": -1}),  # CO2/h2
    "CaHCO3+": ({**_C1, "CaHCO3+": 1}, {"co2": 1, "calcium": 1, "davies1": -1}),  # Ca CO2/h
    "CaCO3": ({**_C2, "CaCO3": 1}, {"co2": 1, "calcium": 1, "neutral": -1}),  # Ca CO2/h2
    "MgHCO3+": ({**_C1, "MgHCO3+": 1}, {"co2": 1, "magnesium": 1, "davies1": -1}),
    "MgCO3": ({**_C2, "MgCO3": 1}, {"co2": 1, "magnesium": 1, "neutral": -1}),
    "NaHCO3": ({**_C1, "NaHCO3": 1}, {"co2": 1, "sodium": 1, "neutral": -1}),
    "NaCO3-": ({**_C2, "NaCO3-": 1}, {"co2": 1, "sodium": 1, "davies1": -1}),
    "CaSO4": ({"CaSO4": 1}, {"calcium": 1, "sulfate": 1, "neutral": -1}),  # Ca SO4
    "MgSO4": ({"MgSO4": 1}, {"magnesium": 1, "sulfate": 1, "neutral": -1}),
    "NaSO4-": ({"NaSO4-": 1}, {"sodium": 1, "sulfate": 1, "davies1": -1}),
    "KSO4-": ({"KSO4-": 1}, {"potassium": 1, "sulfate": 1, "davies1": -1}),
    "HSO4-": ({"HSO4-": 1}, {"sulfate": 1, "davies1": -1}),  # h SO4
    "MgOH+": ({"MgOH+": 1}, {"magnesium": 1, "davies1": -1}),  # Mg/h
    "B(OH)4-": ({"boric": 1}, _N_D1),  # B(OH)3/h
    "CaB(OH)4+": ({"boric": 1, "CaB(OH)4+": 1}, {**_N_D1, "calcium": 1}),  # Ca B(OH)3/h
    "OBr-": ({"hobr": 1}, _N_D1),  # HOBr/h
    "OCl-": ({"hocl": 1}, _N_D1),
    "DMH-": ({"dmh": 1}, _N_D1),
    "NH3": ({"ammonium": 1}, {"davies1": 1, "neutral": -1}),  # NH4/h
    "gas": ({"henry": -1}, {"co2": 1}),  # CO2, gives atm
    "calcite": ({**_C2, "calcite": -1}, {"co2": 1, "calcium": 1}),  # Ca CO2/h2, gives the degree of saturation
    "H2Cy-": (_CY, _N_D1),  # H3Cy/h
    "HCy--": ({**_CY, "cy:H2Cy": 1}, {"neutral": 1, "davies2": -1}),  # H3Cy/h2
    "Cy---": ({**_CY, "cy:H2Cy": 1, "cy:HCy": 1}, {"neutral": 1, "davies3": -1}),  # H3Cy/h3
    "HClCy-": (_MONO, {"neutral": 2, "davies1": -1}),  # H3Cy HOCl/h
    "H2ClCy": ({**_MONO, "cy:H2ClCy": -1}, {"neutral": 1}),  # H3Cy HOCl
    "ClCy--": ({**_MONO, "cy:HClCy": 1}, {"neutral": 2, "davies2": -1}),  # H3Cy HOCl/h2
    "Cl2Cy-": (_DI, {"neutral": 3, "davies1": -1}),  # H3Cy HOCl2/h
    "HCl2Cy": ({**_DI, "cy:HCl2Cy": -1}, {"neutral": 2}),  # H3Cy HOCl2
    "Cl3Cy": ({**_DI, "cy:HCl2Cy": -1, "cy:Cl3Cy": -1}, {"neutral": 3}),  # H3Cy HOCl3
}
CORE = ("OH-", "H+", "MgOH+", "HSO4-")
BICARBONATES = {"Ca++": "CaHCO3+", "Na+": "NaHCO3", "Mg++": "MgHCO3+"}
CARBONATES = {"Ca++": "CaCO3", "Na+": "NaCO3-", "Mg++": "MgCO3"}
SULFATES = {"K+": "KSO4-", "Ca++": "CaSO4", "Na+": "NaSO4-", "Mg++": "MgSO4"}
ACIDS = {"borate": "B(OH)4-", "bromine": "OBr-", "chlorine": "OCl-", "hydantoin": "DMH-"}
_LAST = ("gas", "calcite")
_NEVER = -300.0  # ln K of a pair that is left out; keeps clear of subnormal numbers


@dataclass(frozen=True, eq=False)
class Conditional:
    """Conditional constants of N waters as functions of ionic strength.

    Attributes:
        names: of the rows, those of the solver first, "gas" and "calcite" last. at: the row of each name.
        a: Debye-Hueckel A, (N,) or (1,). reach: of the activity basis, (7, N) or (7, 1).
        ln_k: at zero ionic strength, shape (rows, N or 1). bare: its exponential.
        weights: on the activity basis, shape (rows, 9).
        acids: components with a weak acid present, in the order of their rows. cyanurate: whether there is any.
    """

    names: tuple[str, ...]
    at: Mapping[str, int]
    a: Array
    reach: Array
    ln_k: Array
    bare: Array
    weights: Array
    acids: tuple[str, ...]
    cyanurate: bool


def conditional(celsius: Array, totals: Array, constants: Constants) -> Conditional:
    """The rows that these waters (celsius (N,), totals (components, N)) need."""
    some: list[bool] = np.any(totals[_OPTIONAL_ROWS], axis=1).tolist()
    present = frozenset(name for name, there in zip(_OPTIONAL, some, strict=True) if there)
    if celsius.size and (celsius == celsius[0]).all():
        return _at_one(float(celsius[0]), constants, present)
    return _at(celsius, constants, present)


@lru_cache(maxsize=256)
def _at_one(celsius: float, constants: Constants, present: frozenset[str]) -> Conditional:
    """Waters of one temperature, as those of a tub mostly are."""
    return _at(np.array([celsius]), constants, present)


def _at(celsius: Array, constants: Constants, present: frozenset[str]) -> Conditional:
    plan = _plan(constants, present)
    if celsius.size and (celsius.min() < 0.0 or celsius.max() > 50.0):
        values = np.stack([*debye_hueckel(celsius), *_direct(plan, celsius, constants)])
    else:
        values = plan.coefficients @ np.polynomial.chebyshev.chebvander((celsius - 25.0) / 25.0, _DEGREE).T
    a, b, ln_k = values[0], values[1], values[2:]
    cyanurate = "cyanurate" in present
    return Conditional(plan.names, plan.at, a, reach(b), ln_k, np.exp(ln_k), plan.weights, plan.acids, cyanurate)


_OPTIONAL = (*ACIDS, "cyanurate", "ammonia")
_OPTIONAL_ROWS = [INDEX[name] for name in _OPTIONAL]
_NODES, _DEGREE = 40, 11


@dataclass(frozen=True, eq=False)
class _Plan:
    """What depends on the choice of constants and on what is present only."""

    names: tuple[str, ...]
    at: Mapping[str, int]
    weights: Array
    acids: tuple[str, ...]
    coefficients: Array  # Chebyshev over 0-50 degC of A, B and every ln K, to 1e-9 in ln K: (2 + rows, degree + 1)


@lru_cache(maxsize=256)
def _plan(constants: Constants, present: frozenset[str]) -> _Plan:
    bound = {"chlorine"} if "cyanurate" in present else set()  # the ladder holds the chlorine then
    acids = tuple(name for name in ACIDS if name in present - bound)
    names = (*CORE, "HCO3-", *BICARBONATES.values(), "CO3--", *CARBONATES.values(), *SULFATES.values())
    names += (*(ACIDS[name] for name in acids), *(("OCl-",) if bound else ()))
    names += ("CaB(OH)4+",) if "borate" in present and constants.calcium_borate else ()
    names += ("NH3",) if "ammonia" in present else ()
    names += (*(FORMS if "cyanurate" in present else ()), *_LAST)
    at = {name: row for row, name in enumerate(names)}
    bare = _Plan(names, at, np.stack([weights(_ROWS[n][1]) for n in names]), acids, np.zeros(0))
    nodes = np.cos(np.pi * (np.arange(_NODES) + 0.5) / _NODES)
    t = 25.0 + 25.0 * nodes
    rows = np.stack([*debye_hueckel(t), *_direct(bare, t, constants)], axis=1)
    return replace(
        bare, coefficients=np.asarray(np.polynomial.chebyshev.chebfit(nodes, rows, _DEGREE).T, dtype=np.float64)
    )


def _direct(plan: _Plan, celsius: Array, constants: Constants) -> list[Array]:
    """ln K of each row from the correlations themselves."""
    out: set[str] = set() if constants.sodium_pairs else {"NaHCO3", "NaSO4-"}
    out |= set() if constants.sodium_carbonate else {"NaCO3-"}
    return [np.full(celsius.shape, _NEVER) if n in out else _ln_k(n, celsius, constants) for n in plan.names]


def _ln_k(name: str, celsius: Array, constants: Constants) -> Array:
    terms = _ROWS[name][0].items()
    return _LN10 * sum((factor * LOG_K[k](celsius, constants) for k, factor in terms), np.zeros(celsius.shape))
