"""What a keeper can measure: rounding to the product's own scoop, cap, spoon, tablet or scales."""

from __future__ import annotations

import math

from tubwater.facts import Form, substances
from tubwater.tub import Amount, Measure, MeasureKind, Product

__all__ = ["amount_of", "grams_ceil", "grams_floor", "measure_spread", "smallest"]

_SCALE_SPREAD = 0.02
_UNMEASURED = Measure(MeasureKind.SCALE, grams=1.0, spread=_SCALE_SPREAD, step=1.0)


def _measure(product: Product) -> Measure:
    return product.measures[0] if product.measures else _UNMEASURED


def measure_spread(product: Product) -> float:
    """Relative one-sigma of a dose of this product."""
    return _measure(product).spread


def smallest(product: Product) -> float:
    """The smallest amount that can be measured, g."""
    measure = _measure(product)
    return measure.grams * measure.step


def grams_floor(product: Product, grams: float) -> float:
    """Grams rounded down to what can be measured, so that a limit stays a limit."""
    step = smallest(product)
    return math.floor(grams / step + 1e-9) * step


def grams_ceil(product: Product, grams: float) -> float:
    """Grams rounded up to what can be measured, for what must not be less."""
    return -grams_floor(product, -grams)


def amount_of(product: Product, grams: float, down: bool = False) -> Amount:
    """Grams rounded to the product's measure (``down``: never up), with both weight and measure."""
    step = smallest(product)
    rounded = grams_floor(product, grams) if down else round(grams / step) * step
    measure = _measure(product)
    count = rounded / measure.grams if measure.kind is not MeasureKind.SCALE else 0.0
    substance = substances()[product.substance]
    liquid = substance.form is Form.LIQUID and substance.density_kg_per_l
    millilitres = rounded / float(substance.density_kg_per_l) if liquid and substance.density_kg_per_l else 0.0
    name = "" if measure.kind is MeasureKind.SCALE else str(measure.kind)
    return Amount(product.name, product.substance, rounded, count, name, millilitres)
