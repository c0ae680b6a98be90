"""The tub, what it has, its fill water and the keeper's products."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum
from types import MappingProxyType

from tubwater.facts.quantity import Quantity

__all__ = [
    "Equipment",
    "FillWater",
    "Measure",
    "MeasureKind",
    "Package",
    "Product",
    "Reagents",
    "Sanitizer",
    "Setting",
    "Shelf",
    "Tub",
    "TubKind",
    "VolumeBasis",
    "equipment_of",
]


class Sanitizer(StrEnum):
    """What keeps the water."""

    BROMINE = "bromine"
    CHLORINE = "chlorine"


class TubKind(StrEnum):
    """The kinds of tub that differ in mixing."""

    ACRYLIC = "acrylic"  # fixed shell with water and air jets
    INFLATABLE = "inflatable"  # air bubbles and a small pump, no water jets
    WOOD_FIRED = "wood-fired"  # a stove and no pump
    SWIM_SPA = "swim spa"


class Setting(StrEnum):
    """Whose tub it is."""

    HOME = "home"
    LET = "let"
    PUBLIC = "public"


class VolumeBasis(StrEnum):
    """How the litres are known; the data sheet gives each its spread."""

    PLATE = "plate"  # printed on the tub, often filled to the brim
    METERED = "metered"
    SHAPE = "shape"  # computed from its dimensions


@dataclass(frozen=True)
class Equipment:
    """What the tub has. ``heater_kw`` in kW, None where unknown."""

    pump: bool = True
    water_jets: bool = True
    air_jets: bool = True
    cover: bool = True
    ozone_or_uv: bool = False
    heater_kw: float | None = None


def equipment_of(kind: TubKind) -> Equipment:
    """The usual equipment of a kind of tub (common practice), which the keeper may correct."""
    usual = {
        TubKind.ACRYLIC: Equipment(heater_kw=2.0),
        TubKind.INFLATABLE: Equipment(water_jets=False, heater_kw=1.5),
        TubKind.WOOD_FIRED: Equipment(pump=False, water_jets=False, air_jets=False, heater_kw=20.0),
        TubKind.SWIM_SPA: Equipment(heater_kw=3.0),
    }
    return usual[kind]


@dataclass(frozen=True)
class FillWater:
    """What is known of the water from the tap: quantity to value (units of ``Quantity``); empty is "don't know"."""

    values: Mapping[Quantity, float] = field(default_factory=lambda: MappingProxyType({}))
    source: str = "unknown"  # "utility report", "measured", "unknown"


@dataclass(frozen=True)
class Tub:
    """A tub as its keeper describes it.

    Attributes:
        litres: water in it, L, as the keeper knows it.
        temperature: set water temperature, degC.
        guideline: key of a guideline in ``facts/data/guidelines.toml``.
        soaks_per_week, people_per_soak, minutes_per_soak: roughly who bathes; None is "don't know".
    """

    name: str
    litres: float
    sanitizer: Sanitizer
    volume_basis: VolumeBasis = VolumeBasis.PLATE
    kind: TubKind = TubKind.ACRYLIC
    equipment: Equipment = field(default_factory=Equipment)
    setting: Setting = Setting.HOME
    temperature: float = 38.0
    guideline: str = "household"
    fill: FillWater = field(default_factory=FillWater)
    soaks_per_week: float | None = None
    people_per_soak: float | None = None
    minutes_per_soak: float | None = None


class MeasureKind(StrEnum):
    """What a product is measured with."""

    SCOOP = "scoop"
    CAP = "cap"
    SPOON = "spoon"
    SCALE = "scale"  # grams on kitchen scales
    JUG = "jug"  # millilitres in a measuring jug
    TABLET = "tablet"


@dataclass(frozen=True)
class Measure:
    """How this keeper measures one product. It belongs to that product alone.

    Attributes:
        grams: product in one level measure, g.
        spread: relative one-sigma of a level measure (0.2 until it was weighed once).
        step: smallest part of a measure that can be told apart (0.5 of a scoop, 1 g on scales).
    """

    kind: MeasureKind
    grams: float
    spread: float = 0.2
    step: float = 0.5


@dataclass(frozen=True)
class Package:
    """A pot as it was bought; None and "" are "don't know".

    Attributes:
        grams: product in a full one, g. price: of a full one, in ``currency``, as the keeper wrote it ("EUR").
        opened: the day. expires: the last day on which it is good.
        counted: when the stock was counted, aware; None is now.
    """

    grams: float | None = None
    price: float | None = None
    currency: str = ""
    opened: date | None = None
    expires: date | None = None
    counted: datetime | None = None


@dataclass(frozen=True)
class Reagents:
    """Strips or reagents in hand.

    Attributes:
        method: key in ``facts/data/methods.toml``. opened: the day. expires: the last day on which they are good.
    """

    method: str
    name: str = ""
    opened: date | None = None
    expires: date | None = None


@dataclass(frozen=True)
class Product:
    """A pot on the keeper's shelf, called by its active ingredient.

    Attributes:
        name: the keeper's name for it.
        substance: key in ``facts/data/substances.toml``.
        strength: mass fraction of the substance, 0 to 1; None where the label does not say.
        measures: the ways to measure it, the preferred one first.
        stock_grams: what is left, g; None where unknown.
        tablet_grams: mass of one tablet, g, for tablets.
        declared_parts: substance key to mass fraction, for a blend whose label declares them.
        package: size, price and dates.
    """

    name: str
    substance: str
    strength: float | None = None
    measures: tuple[Measure, ...] = ()
    stock_grams: float | None = None
    tablet_grams: float | None = None
    declared_parts: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    package: Package = field(default_factory=Package)


@dataclass(frozen=True)
class Shelf:
    """The products in hand."""

    products: tuple[Product, ...] = ()

    def of(self, substance: str) -> tuple[Product, ...]:
        """Products of one substance, in the keeper's order."""
        return tuple(product for product in self.products if product.substance == substance)
