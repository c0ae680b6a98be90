"""The reactions that the solver counts, each as a conditional constant: concentrations and the activity of H+.

A row says how its ln K is composed of the correlations of ``constants`` and which activity coefficients enter.
The comment beside a row says what it multiplies.  CaOH+ and MgOH+ are left out: below 0.5 % of the metal up to
pH 8.6 (calculation from phreeqc.dat), the outer edge of what water for bathing sees.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tubwater.chemistry.activity import weights
from tubwater.chemistry.constants import Constants, table
from tubwater.chemistry.water import INDEX

__all__ = ["Conditional", "conditional"]

Array = NDArray[np.float64]
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
_LADDER = ("H2Cy-", "HCy--", "Cy---", "HClCy-", "H2ClCy", "ClCy--", "Cl2Cy-", "HCl2Cy", "Cl3Cy")
_NEEDS: dict[str, tuple[str, ...]] = {
    **{name: ("calcium",) for name in ("CaHCO3+", "CaCO3", "calcite")},
    **{name: ("magnesium",) for name in ("MgHCO3+", "MgCO3")},
    **{name: ("sodium",) for name in ("NaHCO3", "NaCO3-")},
    "CaSO4": ("calcium", "sulfate"),
    "MgSO4": ("magnesium", "sulfate"),
    "NaSO4-": ("sodium", "sulfate"),
    "KSO4-": ("potassium", "sulfate"),
    "HSO4-": ("sulfate",),
    "B(OH)4-": ("borate",),
    "CaB(OH)4+": ("borate", "calcium"),
    "OBr-": ("bromine",),
    "OCl-": ("chlorine",),
    "DMH-": ("hydantoin",),
    "NH3": ("ammonia",),
    **{name: ("cyanurate",) for name in _LADDER},
}


@dataclass(frozen=True, eq=False)
class Conditional:
    """Conditional constants of N waters as functions of ionic strength.

    Attributes:
        names: of the rows present. a, b: Debye-Hueckel, shape (N,) or (1,).
        ln_k: at zero ionic strength, shape (rows, N or 1). weights: on the activity basis, shape (rows, 8).
    """

    names: tuple[str, ...]
    a: Array
    b: Array
    ln_k: Array
    weights: Array


def conditional(celsius: Array, totals: Array, constants: Constants) -> Conditional:
    """The rows that these waters (celsius (N,), totals (components, N)) need."""
    present = frozenset(name for name, i in INDEX.items() if totals[i].any())
    names, needed, mixing, gamma = _plan(constants, present)
    first = celsius[:1]
    one = celsius if celsius.size == 0 or (celsius != first).any() else first
    a, b, ln_k = table(one, constants, needed)
    return Conditional(names, a, b, mixing @ ln_k, gamma)


@lru_cache(maxsize=256)
def _plan(
    constants: Constants, present: frozenset[str]
) -> tuple[tuple[str, ...], tuple[str, ...], Array, Array]:
    """Row names, the correlations they need, how rows mix them, and their activity weights."""
    out = set()
    if not constants.calcium_borate:
        out.add("CaB(OH)4+")
    if not constants.sodium_pairs:
        out |= {"NaHCO3", "NaSO4-"}
    if not constants.sodium_carbonate:
        out.add("NaCO3-")
    names = tuple(n for n in _ROWS if n not in out and present.issuperset(_NEEDS.get(n, ())))
    needed = tuple(dict.fromkeys(k for n in names for k in _ROWS[n][0]))
    mixing = np.array([[_ROWS[n][0].get(k, 0.0) for k in needed] for n in names])
    return names, needed, mixing, np.stack([weights(_ROWS[n][1]) for n in names])
