"""From a standard normal number to a quantity: every unknown of the belief is a normal number and a transport.

So every move in the belief is a move of plain numbers, and every member stays a tub that can exist.
"""

from __future__ import annotations

from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from tubwater.facts import Default

__all__ = ["heavy", "quantile", "rare", "transport"]

Array = NDArray[np.float64]
_SOFT = 0.08  # width of the edge between zero and not, in units of the normal number
_REACH = 9.0  # how much farther a jump goes than ordinary drift, per unit beyond the edge (judgement)


def transport(default: Default, z: Array) -> Array:
    """A log-normal or normal quantity, clipped to its range, with a soft edge to zero where a share is zero."""
    if default.kind == "lognormal":
        value = default.value * np.exp(default.spread * z)
    else:
        value = default.value + default.spread * z
    if default.zero_share > 0.0:
        value = value / (1.0 + np.exp(-(z - quantile(default.zero_share)) / _SOFT))
        return np.minimum(value, default.high)
    return np.clip(value, default.low, default.high)


def rare(default: Default, chance: float, z: Array) -> Array:
    """Zero but in ``chance`` of all cases, and then a Weibull of about the default's median and log-spread.

    The excess of a normal number over a high edge is nearly exponential; a power of it is a Weibull.
    """
    edge = quantile(1.0 - min(max(chance, 1e-9), 0.999))
    scale = max(edge + 1.0 / max(edge, 0.5), 0.5)
    excess = np.maximum(z - edge, 0.0) * scale / np.log(2.0)
    value: Array = np.minimum(default.value * excess ** (0.8 * default.spread), default.high)
    return np.where(z > edge, value, 0.0)


def heavy(z: Array, edge: float) -> Array:
    """Ordinary drift up to ``edge`` standard deviations; beyond it a jump, which goes much farther."""
    beyond = np.maximum(np.abs(z) - edge, 0.0)
    value: Array = z + np.sign(z) * (_REACH - 1.0) * beyond
    return value


def quantile(share: float) -> float:
    """The standard normal number below which ``share`` of its mass lies."""
    return NormalDist().inv_cdf(share)
