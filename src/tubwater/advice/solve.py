"""Grams of one product that bring the middle of the believed waters to a goal."""

from __future__ import annotations

import numpy as np

from tubwater.advice.beside import Beside
from tubwater.advice.now import Situation
from tubwater.facts.quantity import Quantity
from tubwater.tub import Product

__all__ = ["grams_for"]

_MOST_MG_PER_L = 2000.0
_HALVINGS = 18


def grams_for(beside: Beside, case: Situation, product: Product, quantity: Quantity, goal: float) -> float:
    """Grams at which the median of ``quantity`` meets ``goal``, by bisection; 0 where the product leads away."""
    composition = case.products.compositions[product.name]
    litres = float(np.median(case.rates.litres))

    def median(grams: float) -> float:
        return float(np.median(beside.observer(beside.dosed(composition, grams, 0.0)).read(quantity)))

    present = median(0.0)
    low, high = 0.0, _MOST_MG_PER_L * litres / 1000.0
    rising = goal > present
    if (median(0.01 * high) > present) is not rising:
        return 0.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if (median(middle) < goal) is rising else (low, middle)
    return 0.5 * (low + high)
