"""From a reading and its method to a likelihood: rounded, binned, censored, with blunders and interferences.

The error of a method is logistic with its one-sigma, which gives closed-form bins (judgement); a small share of
readings is blunders, uniform over the method's range.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tubwater.errors import Problem
from tubwater.facts import MethodQuantity, defaults, methods
from tubwater.facts.quantity import OxidantScale, Quantity
from tubwater.tub import Reading

__all__ = [
    "CL2_TO_BR2",
    "ReadingContext",
    "blunder_probability",
    "distinguishes",
    "log_likelihood",
    "reading_problem",
    "sd_of",
    "standard_value",
]

Array = NDArray[np.float64]
CL2_TO_BR2 = 159.808 / 70.906  # 1 mg/L as Cl2 is 2.254 mg/L as Br2 (atomic weights)
_LOGISTIC = np.pi / np.sqrt(3.0)  # scale = sigma / this
_BLEACH_FROM, _BLEACH_WIDTH = 20.0, 2.0  # mg/L as Br2, onset from memory
_PURPLE_FROM = 10.0  # mg/L as Br2 (common practice)
_OXIDANTS = (Quantity.BROMINE, Quantity.FREE_CHLORINE, Quantity.TOTAL_CHLORINE)
_DPD = ("visual-comparator", "photometer")


@dataclass(frozen=True, eq=False)
class ReadingContext:
    """What the likelihood of a reading must know of each member, arrays of shape (N,) or scalars.

    Attributes:
        bromine: active halogen, mg/L as Br2. monopersulfate: unreacted, mg/L as Br2.
        kit_bias: the kit's lasting offset in units of the method's one-sigma. kit_share: its part of that one-sigma.
    """

    bromine: Array = field(default_factory=lambda: np.zeros(1))
    monopersulfate: Array = field(default_factory=lambda: np.zeros(1))
    kit_bias: Array = field(default_factory=lambda: np.zeros(1))
    kit_share: float = 0.0


def sd_of(quantity_method: MethodQuantity, value: Array) -> Array:
    """One-sigma of a method at a true value, in the kit's unit."""
    relative = quantity_method.relative * np.abs(value)
    if quantity_method.combine == "quadrature":
        return np.asarray(np.hypot(quantity_method.absolute, relative))
    return np.maximum(quantity_method.absolute, relative)


def standard_value(reading: Reading) -> tuple[float, float]:
    """What was read as (low, high) in the unit of its ``Quantity``: bromine as Br2, chlorine as Cl2."""
    factor = _to_standard(reading)
    return reading.low * factor, reading.high * factor


def _to_standard(reading: Reading) -> float:
    if reading.quantity is Quantity.BROMINE and reading.scale is OxidantScale.AS_CL2:
        return CL2_TO_BR2
    if reading.quantity in _OXIDANTS[1:] and reading.scale is OxidantScale.AS_BR2:
        return 1.0 / CL2_TO_BR2
    return 1.0


def log_likelihood(reading: Reading, predicted: Array, context: ReadingContext) -> Array:
    """log P(reading | true value) per member.

    Args:
        predicted: the true value in the unit of the reading's ``Quantity``, shape (N,).
        context: interferences and the kit's offset per member.
    """
    good, blunder = _parts(reading, predicted, context)
    return np.asarray(np.log(np.maximum(good + blunder, 1e-300)))


def blunder_probability(reading: Reading, predicted: Array, context: ReadingContext) -> Array:
    """Probability per member that the reading has nothing to do with the water."""
    good, blunder = _parts(reading, predicted, context)
    return np.asarray(blunder / np.maximum(good + blunder, 1e-300))


def _parts(reading: Reading, predicted: Array, context: ReadingContext) -> tuple[Array, Array]:
    method = methods()[reading.method].quantities[reading.quantity]
    share = defaults()["blunder_share"].value
    low, high = _interval(reading, method)
    truth = _seen(reading, predicted, context) / _to_standard(reading)
    good = _bin(truth, low, high, method, context)
    if reading.quantity is Quantity.PH:
        good = _purple(good, low, high, truth, method, context)
    if reading.quantity in _OXIDANTS and reading.method in _DPD:
        bleached = 1.0 / (1.0 + np.exp(-(context.bromine - _BLEACH_FROM) / _BLEACH_WIDTH))
        good = good * (1.0 - bleached) + bleached * _bin(0.0 * truth, low, high, method, context)
    return (1.0 - share) * good, share * _uniform(low, high, method) + 0.0 * good


def _seen(reading: Reading, predicted: Array, context: ReadingContext) -> Array:
    """What the chemistry of the test responds to: a total test sees monopersulfate too."""
    if reading.quantity in (Quantity.BROMINE, Quantity.TOTAL_CHLORINE):
        extra = context.monopersulfate
        seen: Array = predicted + (extra if reading.quantity is Quantity.BROMINE else extra / CL2_TO_BR2)
        return seen
    return predicted


def _interval(reading: Reading, method: MethodQuantity) -> tuple[float, float]:
    """The interval of unrounded values that give this reading, in the kit's unit; open at the ends of the range."""
    low, high = reading.low, reading.high
    if low == high and method.steps:
        below = [s for s in method.steps if s < low - 1e-9]
        above = [s for s in method.steps if s > low + 1e-9]
        left = 0.5 * (below[-1] + low) if below else -np.inf
        right = 0.5 * (above[0] + low) if above else np.inf
        return left, right
    half = 0.5 * method.resolution if low == high else 0.0
    left = -np.inf if low <= method.low else low - half
    right = np.inf if high >= method.high else high + half
    return left, right


def _bin(truth: Array, low: float, high: float, method: MethodQuantity, context: ReadingContext) -> Array:
    """Probability that truth plus kit offset plus logistic error falls into (low, high)."""
    sd = sd_of(method, truth)
    centre = truth + context.kit_bias * sd
    scale = sd * np.sqrt(1.0 - context.kit_share**2) / _LOGISTIC
    value: Array = _logistic((high - centre) / scale) - _logistic((low - centre) / scale)
    return np.maximum(value, 0.0)


def _logistic(x: Array) -> Array:
    return np.asarray(0.5 * (1.0 + np.tanh(0.5 * np.clip(x, -700.0, 700.0))))


def _purple(
    good: Array, low: float, high: float, truth: Array, method: MethodQuantity, context: ReadingContext
) -> Array:
    """Above some 10 mg/L the dye turns purple and reads too high: nothing is learned upwards."""
    spoiled = 1.0 / (1.0 + np.exp(-(context.bromine - _PURPLE_FROM) / 1.0))
    reach = _logistic((high - truth) / (sd_of(method, truth) / _LOGISTIC))
    width = max(min(high, method.high) - max(low, method.low), 0.0) / (method.high - method.low)
    value: Array = good * (1.0 - spoiled) + spoiled * reach * max(width, 0.02)
    return value


def _uniform(low: float, high: float, method: MethodQuantity) -> float:
    span = method.high - method.low
    return max(min(high, method.high) - max(low, method.low), method.resolution, 1e-9) / span


def distinguishes(method: str, quantity: Quantity, first: float, second: float) -> float:
    """By how many one-sigma a method tells two true values apart (0 where it does not read the quantity)."""
    found = methods()[method].quantities.get(quantity)
    if found is None:
        return 0.0
    middle = np.asarray(0.5 * (first + second))
    resolution = found.resolution / np.sqrt(12.0)
    return float(abs(first - second) / np.hypot(sd_of(found, middle), resolution))


def reading_problem(reading: Reading, field_name: str) -> Problem | None:
    """What is wrong with a reading, or None: a quantity the method does not read, or outside its range."""
    known = methods().get(reading.method)
    if known is None:
        return Problem(field_name, reading.method, f"a method out of {', '.join(methods())}")
    found = known.quantities.get(reading.quantity)
    if found is None:
        names = ", ".join(known.quantities)
        return Problem(field_name, str(reading.quantity), f"a quantity that the {known.name} reads: {names}")
    ends = [v for v in (reading.low, reading.high) if np.isfinite(v)]
    if any(np.isnan(v) for v in (reading.low, reading.high)) or not ends:
        return Problem(field_name, "not a number", "a number")
    bottom = min(found.low, found.steps[0]) if found.steps else min(found.low, 0.0)
    if min(ends) < bottom or max(ends) > found.high:
        span = f"{bottom:g} to {found.high:g} for {reading.quantity} by {known.name}"
        return Problem(field_name, f"{reading.value:g}", f"a value of {span}, or one marked as below or above it")
    return None
