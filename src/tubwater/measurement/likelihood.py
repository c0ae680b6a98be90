"""From a reading and its method to a likelihood: rounded, binned, censored, with blunders and interferences.

The error of a method is logistic with its one-sigma, which gives closed-form bins (judgement); a small share of
readings is blunders, uniform over the method's range.  Over all that a kit can show the likelihoods add up to one.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tubwater.errors import InputError, Problem
from tubwater.facts import MethodQuantity, defaults, in_unit_of, interferences, methods
from tubwater.facts.quantity import OxidantScale, Quantity
from tubwater.tub import Reading

__all__ = [
    "CL2_TO_BR2",
    "Bin",
    "ReadingContext",
    "bin_of",
    "blunder_probability",
    "distinguishes",
    "log_likelihood",
    "method_problem",
    "reading_problem",
    "sd_of",
    "standard_value",
    "suffers",
]

Array = NDArray[np.float64]
CL2_TO_BR2 = 159.808 / 70.906  # 1 mg/L as Cl2 is 2.254 mg/L as Br2 (atomic weights)
_LOGISTIC = np.pi / np.sqrt(3.0)  # scale = sigma / this
_OXIDANTS = (Quantity.BROMINE, Quantity.FREE_CHLORINE, Quantity.TOTAL_CHLORINE)


@dataclass(frozen=True, eq=False)
class ReadingContext:
    """What the likelihood of a reading must know of each member, arrays of shape (N,) or scalars.

    Attributes:
        bromine: active halogen, mg/L as Br2. chlorine: the part of it that is chlorine, mg/L as Br2.
        monopersulfate: unreacted, mg/L as Br2.
        kit_bias: the kit's lasting offset in units of the method's one-sigma. kit_share: its part of that one-sigma.
    """

    bromine: Array = field(default_factory=lambda: np.zeros(1))
    chlorine: Array = field(default_factory=lambda: np.zeros(1))
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
    """What was read as (low, high) in the unit of its ``Quantity``: bromine as Br2, chlorine as Cl2.

    Raises:
        InputError: its unit does not measure the quantity.
    """
    factor = _to_standard(reading)
    low, high = _printed(reading)
    return low * factor, high * factor


def _printed(reading: Reading) -> tuple[float, float]:
    """What was read, in the unit of the quantity but on the oxidant scale of the kit."""
    low, high = (in_unit_of(reading.quantity, end, reading.unit) for end in (reading.low, reading.high))
    return low, high


def _to_standard(reading: Reading) -> float:
    if reading.quantity is Quantity.BROMINE and reading.scale is OxidantScale.AS_CL2:
        return CL2_TO_BR2
    if reading.quantity in _OXIDANTS[1:] and reading.scale is OxidantScale.AS_BR2:
        return 1.0 / CL2_TO_BR2
    return 1.0


def _row(reading: Reading) -> MethodQuantity:
    """How the kit reads: one printed on the other oxidant scale is the kit for that oxidant."""
    rows = methods()[reading.method].quantities
    if _to_standard(reading) == 1.0:
        return rows[reading.quantity]
    other = Quantity.FREE_CHLORINE if reading.quantity is Quantity.BROMINE else Quantity.BROMINE
    return rows.get(other, rows[reading.quantity])


def log_likelihood(reading: Reading, predicted: Array, context: ReadingContext) -> Array:
    """log P(reading | true value) per member.

    Args:
        predicted: the true value in the unit of the reading's ``Quantity``, shape (N,).
        context: interferences and the kit's offset per member.
    """
    good, blunder = _parts(reading, predicted, context)
    return np.asarray(np.log(np.maximum(good + blunder, 1e-300)))


@dataclass(frozen=True)
class Bin:
    """What a reading says without interferences, on the scale of its kit.

    Attributes:
        low, high: the interval of unrounded values. absolute, relative, quadrature: the one-sigma as in ``sd_of``.
        factor: from the kit's scale to the unit of the quantity. blunder: probability of it as a blunder.
    """

    low: float
    high: float
    absolute: float
    relative: float
    quadrature: bool
    factor: float
    blunder: float


def bin_of(reading: Reading) -> Bin:
    """The plain part of a reading's likelihood, for many readings at once."""
    method = _row(reading)
    low, high = _interval(reading, method)
    blunder = defaults()["blunder_share"].value * _uniform(low, high, method)
    quadrature = method.combine == "quadrature"
    return Bin(low, high, method.absolute, method.relative, quadrature, _to_standard(reading), blunder)


def blunder_probability(reading: Reading, predicted: Array, context: ReadingContext) -> Array:
    """Probability per member that the reading has nothing to do with the water."""
    good, blunder = _parts(reading, predicted, context)
    return np.asarray(blunder / np.maximum(good + blunder, 1e-300))


def _parts(reading: Reading, predicted: Array, context: ReadingContext) -> tuple[Array, Array]:
    method = _row(reading)
    share = defaults()["blunder_share"].value
    low, high = _interval(reading, method)
    truth = _seen(reading, predicted, context) / _to_standard(reading)
    good = _bin(truth, low, high, method, context)
    if reading.quantity is Quantity.PH and suffers(reading, "phenol-red-high-halogen"):
        spoiled = _spoiled("phenol-red-high-halogen", _on_dye(context))
        good = good * (1.0 - spoiled) + spoiled * _purple(truth, low, high, method, context)
    if reading.quantity in _OXIDANTS and suffers(reading, "bleaching"):
        spoiled = _spoiled("bleaching", np.asarray(context.bromine))
        good = good * (1.0 - spoiled) + spoiled * _bin(np.zeros_like(truth), low, high, method, context)
    return (1.0 - share) * good, share * _uniform(low, high, method) + 0.0 * good


def suffers(reading: Reading, interference: str) -> bool:
    """Whether an interference, by its key in ``facts/data/interferences.toml``, can spoil what this method reads."""
    return interference in methods()[reading.method].interferences


def _on_dye(context: ReadingContext) -> Array:
    """What turns the dye of a pH test: as many mg/L of chlorine, counted as chlorine, as of bromine."""
    chlorine = np.asarray(context.chlorine)
    return np.asarray(context.bromine) - chlorine + chlorine / CL2_TO_BR2


def _spoiled(interference: str, halogen: Array) -> Array:
    """Share of readings spoiled at this much of it, mg/L."""
    found = interferences()[interference]
    return found.most * _logistic((halogen - found.onset) / found.width)


def _seen(reading: Reading, predicted: Array, context: ReadingContext) -> Array:
    """What the chemistry of the test responds to: a total test, and any pad of a strip, sees monopersulfate too."""
    total = reading.quantity in (Quantity.BROMINE, Quantity.TOTAL_CHLORINE)
    if total or (reading.quantity is Quantity.FREE_CHLORINE and suffers(reading, "total-test")):
        extra = context.monopersulfate
        seen: Array = predicted + (extra if reading.quantity is Quantity.BROMINE else extra / CL2_TO_BR2)
        return seen
    return predicted


def _interval(reading: Reading, method: MethodQuantity) -> tuple[float, float]:
    """The interval of unrounded values that give this reading, in the kit's unit; open at the ends of the range.

    "Between two steps" is the span between them; a value that is no printed step lies between its neighbours' middles,
    as if the kit had it.
    """
    low, high = _printed(reading)
    if low != high:
        return low, high
    if method.steps:
        below = [s for s in method.steps if s < low - 1e-9]
        above = [s for s in method.steps if s > low + 1e-9]
        left = 0.5 * (below[-1] + low) if below else -np.inf
        right = 0.5 * (above[0] + low) if above else np.inf
        return left, right
    half = 0.5 * method.resolution
    return (-np.inf if low <= method.low else low - half), (np.inf if high >= method.high else high + half)


def _bin(truth: Array, low: float, high: float, method: MethodQuantity, context: ReadingContext) -> Array:
    """Probability that truth plus kit offset plus logistic error falls into (low, high)."""
    sd = sd_of(method, truth)
    centre = truth + context.kit_bias * sd
    scale = sd * np.sqrt(1.0 - context.kit_share**2) / _LOGISTIC
    value: Array = _logistic((high - centre) / scale) - _logistic((low - centre) / scale)
    return np.maximum(value, 0.0)


def _logistic(x: Array) -> Array:
    return np.asarray(0.5 * (1.0 + np.tanh(0.5 * np.clip(x, -700.0, 700.0))))


def _purple(truth: Array, low: float, high: float, method: MethodQuantity, context: ReadingContext) -> Array:
    """The purple dye reads at or above the truth: the higher of the true colour and any colour of the range."""
    span = method.high - method.low
    any_high, any_low = (float(np.clip((end - method.low) / span, 0.0, 1.0)) for end in (high, low))
    upto_high = any_high * _bin(truth, -np.inf, high, method, context)
    return np.maximum(upto_high - any_low * _bin(truth, -np.inf, low, method, context), 0.0)


def _uniform(low: float, high: float, method: MethodQuantity) -> float:
    """Probability that a blunder gives this reading: its part of the range, and a little for one beyond the range."""
    inside = min(high, method.high) - max(low, method.low)
    return float(max(inside, 0.25 * method.resolution) / (method.high - method.low))


def distinguishes(method: str, quantity: Quantity, first: float, second: float) -> float:
    """By how many one-sigma a method tells two true values apart (0 where it does not read the quantity)."""
    found = methods()[method].quantities.get(quantity)
    if found is None:
        return 0.0
    middle = np.asarray(0.5 * (first + second))
    resolution = found.resolution / np.sqrt(12.0)
    return float(abs(first - second) / np.hypot(sd_of(found, middle), resolution))


def reading_problem(reading: Reading, field_name: str) -> Problem | None:
    """What is wrong with a reading, or None.

    Wrong are an unknown method, a quantity that the method does not read, a unit that does not measure it, what is no
    number, and a value outside what the kit can show.
    """
    problem = method_problem(reading, field_name)
    if problem is not None:
        return problem
    try:
        ends = [end for end in _printed(reading) if not np.isinf(end)]
    except InputError as error:
        return Problem(field_name, error.problems[0].given, error.problems[0].expected)
    return _range_problem(reading, ends, methods()[reading.method].name, field_name)


def method_problem(reading: Reading, field_name: str) -> Problem | None:
    """What is wrong with a reading's method, or None: it is unknown, or does not read that quantity."""
    known = methods().get(reading.method)
    if known is None:
        return Problem(field_name, reading.method, f"a method out of {', '.join(methods())}")
    if reading.quantity not in known.quantities:
        names = ", ".join(known.quantities)
        return Problem(field_name, str(reading.quantity), f"a quantity that the {known.name} reads: {names}")
    return None


def _range_problem(reading: Reading, ends: list[float], method_name: str, field_name: str) -> Problem | None:
    if not ends or any(np.isnan(end) for end in ends):
        return Problem(field_name, "not a number", "a number")
    if reading.low > reading.high:
        return Problem(field_name, f"{reading.low:g} to {reading.high:g}", "the lower end first")
    row = _row(reading)
    if min(ends) >= row.low and max(ends) <= row.high:
        return None
    span = f"{row.low:g} to {row.high:g} for {reading.quantity} by {method_name}"
    return Problem(field_name, f"{reading.value:g}", f"a value of {span}, or one marked as below or above it")
