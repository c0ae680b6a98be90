"""Mixing, diluting and heating: linear in the totals."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from tubwater.chemistry.water import Water

__all__ = ["heat", "mix", "remove_and_refill"]


def mix(a: Water, b: Water, fraction_b: ArrayLike) -> Water:
    """A mixture by mass of water; ``fraction_b`` 0 to 1, broadcast. Temperatures mix by mass too."""
    share = np.asarray(fraction_b, dtype=float)
    temperature = a.temperature * (1.0 - share) + b.temperature * share
    return Water(temperature, a.totals * (1.0 - share) + b.totals * share)


def heat(water: Water, temperature: ArrayLike) -> Water:
    """The same water at another temperature (degC), closed: every total stays."""
    return water.replaced(temperature=temperature)


def remove_and_refill(water: Water, fraction: ArrayLike, fill: Water) -> Water:
    """The tub after a fraction (0 to 1, by mass) was drained and made up with ``fill``; temperatures mix."""
    return mix(water, fill, fraction)
