"""A closed list of units and a strict parser of amounts.

An amount that could be read two ways is refused, not guessed: "1,300 L" (thirteen hundred or one point three),
"5 gal" (US or imperial), "3 fl oz" (US or imperial), "8 oz" of a liquid (mass or volume).

Factors are exact by definition (international yard and pound, litre, imperial gallon of 1976) or, for the degrees of
hardness, computed from the molar masses of CaO and CaCO3 (IUPAC abridged atomic weights, from memory).
"""

from __future__ import annotations

import difflib
import math
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Self

from tubwater.errors import InputError

__all__ = ["UNITS", "Amount", "Dimension", "Unit", "find_unit", "parse_amount", "parse_number"]


class Dimension(StrEnum):
    """What a unit measures."""

    VOLUME = "volume"
    MASS = "mass"
    TEMPERATURE = "temperature"
    CONCENTRATION = "concentration"
    AMOUNT_CONCENTRATION = "amount concentration"
    HARDNESS = "hardness"
    TIME = "time"
    POWER = "power"
    FRACTION = "fraction"
    PH = "pH"
    CONDUCTIVITY = "conductivity"
    TURBIDITY = "turbidity"


@dataclass(frozen=True)
class Unit:
    """A unit: ``base = value * factor + offset`` in the base unit of its dimension.

    The base units are L, g, degC, mg/L, mmol/L, mg/L as CaCO3 (hardness), min, kW, 1 (fraction), pH, uS/cm, NTU.
    """

    key: str
    dimension: Dimension
    factor: float
    offset: float = 0.0
    aliases: tuple[str, ...] = ()


_V, _M, _T = Dimension.VOLUME, Dimension.MASS, Dimension.TIME
_H = Dimension.HARDNESS
_ROWS = (
    Unit("L", _V, 1.0, aliases=("l", "litre", "litres", "liter", "liters", "ltr")),
    Unit("mL", _V, 1e-3, aliases=("ml", "millilitre", "millilitres", "milliliter", "milliliters", "cc")),
    Unit("m3", _V, 1000.0, aliases=("m³", "cubic metre", "cubic metres", "cubic meter", "cubic meters")),
    Unit("US gal", _V, 3.785411784, aliases=("us gallon", "us gallons", "gal us", "gal (us)", "usgal")),
    Unit("imp gal", _V, 4.54609, aliases=("imperial gallon", "imperial gallons", "uk gal", "uk gallons", "gal (imp)")),
    Unit("US fl oz", _V, 0.0295735295625, aliases=("us fluid ounce", "us fluid ounces", "fl oz us", "fl oz (us)")),
    Unit("imp fl oz", _V, 0.0284130625, aliases=("imperial fluid ounce", "imperial fluid ounces", "uk fl oz")),
    Unit("g", _M, 1.0, aliases=("gram", "grams", "gramme", "grammes")),
    Unit("kg", _M, 1000.0, aliases=("kilo", "kilos", "kilogram", "kilograms")),
    Unit("mg", _M, 1e-3, aliases=("milligram", "milligrams")),
    Unit("oz", _M, 28.349523125, aliases=("ounce", "ounces", "oz wt")),
    Unit("lb", _M, 453.59237, aliases=("lbs", "pound", "pounds")),
    Unit("°C", Dimension.TEMPERATURE, 1.0, aliases=("c", "degc", "deg c", "degrees c", "celsius")),
    Unit("°F", Dimension.TEMPERATURE, 5.0 / 9.0, -160.0 / 9.0, ("f", "degf", "deg f", "degrees f", "fahrenheit")),
    Unit("mg/L", Dimension.CONCENTRATION, 1.0, aliases=("mg/l", "mg per l", "mg per litre")),
    Unit("ppm", Dimension.CONCENTRATION, 1.0, aliases=("parts per million",)),
    Unit("mmol/L", Dimension.AMOUNT_CONCENTRATION, 1.0, aliases=("mmol/l", "mmol per litre")),
    Unit("°dH", _H, 1000.87 / 56.077, aliases=("dh", "german degrees", "german degree")),
    Unit("°fH", _H, 10.0, aliases=("fh", "french degrees", "french degree")),
    Unit("°e", _H, 64.79891 / 4.54609, aliases=("°clark", "clark", "clark degrees", "english degrees", "°eh")),
    Unit("gpg", _H, 64.79891 / 3.785411784, aliases=("grains per gallon", "grains per us gallon")),
    Unit("min", _T, 1.0, aliases=("minute", "minutes", "mins")),
    Unit("h", _T, 60.0, aliases=("hr", "hrs", "hour", "hours")),
    Unit("d", _T, 1440.0, aliases=("day", "days")),
    Unit("kW", Dimension.POWER, 1.0, aliases=("kw", "kilowatt", "kilowatts")),
    Unit("%", Dimension.FRACTION, 0.01, aliases=("per cent", "percent")),
    Unit("pH", Dimension.PH, 1.0),
    Unit("µS/cm", Dimension.CONDUCTIVITY, 1.0, aliases=("us/cm",)),
    Unit("mS/cm", Dimension.CONDUCTIVITY, 1000.0),
    Unit("NTU", Dimension.TURBIDITY, 1.0),
)
UNITS = MappingProxyType({unit.key: unit for unit in _ROWS})
_TWO_WAYS = {
    "gal": '"US gal" or "imp gal"',
    "gallon": '"US gal" or "imp gal"',
    "gallons": '"US gal" or "imp gal"',
    "fl oz": '"US fl oz" or "imp fl oz"',
    "fluid ounce": '"US fl oz" or "imp fl oz"',
    "fluid ounces": '"US fl oz" or "imp fl oz"',
    "°f": '"°F" for a temperature or "°fH" for French degrees of hardness',
    "°": '"°C" or "°F" for a temperature, "°dH", "°fH" or "°e" for hardness',
    "deg": '"°C" or "°F"',
    "degrees": '"°C" or "°F"',
    "pint": '"mL", "US fl oz" or "imp fl oz"',
    "pints": '"mL", "US fl oz" or "imp fl oz"',
    "quart": '"L", "US gal" or "imp gal"',
    "quarts": '"L", "US gal" or "imp gal"',
    "cup": '"g" or "mL"',
    "cups": '"g" or "mL"',
    "m": '"min" for minutes or "mL" for millilitres',
}


def _folded(text: str) -> str:
    """Blanks single, the Greek letter mu as the micro sign, case kept."""
    return " ".join(unicodedata.normalize("NFC", text).replace("μ", "µ").split())


def _names() -> dict[str, Unit]:
    found = {unit.key: unit for unit in _ROWS}
    for unit in _ROWS:
        for name in (unit.key, *unit.aliases):
            found.setdefault(name, unit)
            found.setdefault(name.lower(), unit)
    del found["°f"]  # the lower case of Fahrenheit is the sign of French degrees
    return found


_NAMES = MappingProxyType(_names())


def find_unit(
    text: str, dimension: Dimension | None = None, field: str = "unit", liquid: bool = False, given: str = ""
) -> Unit:
    """The unit that ``text`` names.

    Args:
        dimension: settles "°f" (French degrees) where a hardness is asked for.
        field: where it stands, for the error.
        liquid: refuse "oz", which for a liquid may be mass or volume.
        given: all that was entered, for the error; by default ``text``.

    Raises:
        InputError: unknown, or it could be read two ways.
    """
    name = _folded(text)
    exact = _NAMES.get(name)
    if exact is None and name == "°f" and dimension is Dimension.HARDNESS:
        return UNITS["°fH"]
    lower = name.lower()
    if exact is None and (name if name == "°f" else lower) in _TWO_WAYS:
        raise InputError.one(field, given or text, _TWO_WAYS[lower])
    unit = exact or _NAMES.get(lower)
    if unit is None:
        raise InputError.one(field, given or text, _expected(text, dimension))
    if liquid and unit.key == "oz":
        raise InputError.one(field, given or text, '"US fl oz" or "imp fl oz" for a volume, "g" for a mass of liquid')
    return unit


def _expected(text: str, dimension: Dimension | None) -> str:
    known = [unit.key for unit in _ROWS if dimension in (None, unit.dimension)]
    near = dict.fromkeys(_NAMES[name].key for name in difflib.get_close_matches(text, _NAMES, n=3, cutoff=0.6))
    hint = f"; did you mean {' or '.join(near)}?" if near else ""
    return f"{_out_of(known)}{hint}"


def _out_of(keys: Sequence[str]) -> str:
    return f"a unit out of {', '.join(keys)}" if len(keys) > 1 else f"the unit {keys[0]}"


@dataclass(frozen=True)
class Amount:
    """A value with its unit as entered."""

    value: float
    unit: Unit

    @property
    def base(self) -> float:
        """The value in the base unit of the dimension."""
        return self.value * self.unit.factor + self.unit.offset

    def to(self, unit: str | Unit) -> float:
        """The value in another unit of the same dimension; hardness counts as mg/L of CaCO3.

        Raises:
            InputError: the units measure different things.
        """
        target = unit if isinstance(unit, Unit) else find_unit(unit)
        if _kind(target) != _kind(self.unit):
            expected = f"a {target.dimension}, such as {target.key}"
            raise InputError.one("unit", f"{self.value:g} {self.unit.key}", expected)
        return (self.base - target.offset) / target.factor

    def in_unit(self, unit: str) -> Self:
        """The same amount in another unit."""
        return type(self)(self.to(unit), find_unit(unit))

    def __str__(self) -> str:
        return f"{self.value:g} {self.unit.key}"


def _kind(unit: Unit) -> Dimension:
    return Dimension.CONCENTRATION if unit.dimension is Dimension.HARDNESS else unit.dimension


_NUMBER = re.compile(r"[+\-−]?(?:(?:\d+\s)?\d+/\d+|\d[\d.,'’\s]*|[.,]\d+)")
_FRACTION = re.compile(r"(?:(\d+)\s)?(\d+)/(\d+)")
_GROUPED = re.compile(r"\d{1,3}(?:[\s'’]\d{3})+(?:[.,]\d+)?")
_DOUBLE = re.compile(r"\d{1,3}(?:,\d{3})+\.\d+|\d{1,3}(?:\.\d{3})+,\d+|\d{1,3}(?:,\d{3}){2,}|\d{1,3}(?:\.\d{3}){2,}")
_TWOFOLD = re.compile(r"[1-9]\d{0,2}[.,]\d{3}")
_PLAIN = re.compile(r"\d+(?:[.,]\d*)?|[.,]\d+")


def parse_number(text: str, field: str = "number") -> float:
    """A number as people write it: "1300", "1 300", "1,5", "1,300.5", "1 1/2".

    Raises:
        InputError: not a number, or one of two: a single comma or point before exactly three figures.
    """
    body = " ".join(text.split())
    sign = -1.0 if body[:1] in ("-", "−") else 1.0
    digits = body.lstrip("+-−").strip()
    if _TWOFOLD.fullmatch(digits):
        raise InputError.one(field, text, _two_numbers(digits))
    fraction = _FRACTION.fullmatch(digits)
    if fraction and int(fraction[3]):
        return sign * (int(fraction[1] or 0) + int(fraction[2]) / int(fraction[3]))
    value = _decimal(digits)
    if value is None or len(body) - len(digits) > 1 or not math.isfinite(value):
        raise InputError.one(field, text, "a number, such as 1300 or 1.5")
    return sign * value


def _decimal(digits: str) -> float | None:
    if _PLAIN.fullmatch(digits):
        return float(digits.replace(",", "."))
    if not (_GROUPED.fullmatch(digits) or _DOUBLE.fullmatch(digits)):
        return None
    mark = max(digits.rfind(","), digits.rfind("."))
    grouped = mark >= 0 and digits.count(digits[mark]) == 1
    whole, rest = (digits[:mark], digits[mark + 1 :]) if grouped else (digits, "0")
    return float(re.sub(r"\D", "", whole) + "." + rest)


def _two_numbers(digits: str) -> str:
    whole, rest = re.split(r"[.,]", digits)
    return f"{whole}{rest} (without a mark) or {whole}.{rest.rstrip('0') or '0'}, since this can be read as both"


def parse_amount(text: str, field: str = "amount", dimension: Dimension | None = None, liquid: bool = False) -> Amount:
    """An amount with its unit, such as "1300 L", "1 300 l", "1,5 kg", "104 °F", "2 US fl oz".

    Args:
        field: where it stands, as the keeper wrote it, for the error.
        dimension: what is asked for; another one is refused. None takes any.
        liquid: the amount is of a liquid, so that "oz" is refused.

    Raises:
        InputError: no number, no unit, an unknown unit, another dimension, negative (but for temperatures), or
            readable in two ways.
    """
    found = _NUMBER.match(text.strip())
    if found is None:
        raise InputError.one(field, text, f"a number with {_example(dimension)}")
    value = parse_number(found.group().strip(), field)
    name = text.strip()[found.end() :].strip()
    if not name:
        raise InputError.one(field, text, f"a number with {_example(dimension)}")
    unit = find_unit(name, dimension, field, liquid, given=text)
    if dimension is not None and not _fits(unit, dimension):
        raise InputError.one(field, text, f"a {dimension}, {_example(dimension)}")
    if value < 0.0 and unit.dimension is not Dimension.TEMPERATURE:
        raise InputError.one(field, text, "an amount of zero or more")
    return Amount(value, unit)


def _fits(unit: Unit, dimension: Dimension) -> bool:
    return unit.dimension is dimension or {unit.dimension, dimension} == {Dimension.HARDNESS, Dimension.CONCENTRATION}


def _example(dimension: Dimension | None) -> str:
    keys = [unit.key for unit in _ROWS if dimension in (None, unit.dimension)]
    return _out_of(keys) if dimension else "its unit, such as 1300 L or 38 °C"
