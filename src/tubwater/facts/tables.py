"""The tables of facts: typed, cited, loaded once from TOML."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cache
from types import MappingProxyType
from typing import Any

from tubwater.chemistry import Composition
from tubwater.errors import InputError, UnknownKey
from tubwater.facts.basis import Basis, BasisKind
from tubwater.facts.quantity import Quantity
from tubwater.facts.read import basis_of, table

__all__ = [
    "Default",
    "Form",
    "Guideline",
    "Incompatibility",
    "Limits",
    "Method",
    "MethodQuantity",
    "Reference",
    "Role",
    "StatedAs",
    "Substance",
    "defaults",
    "find_substance",
    "guidelines",
    "incompatible",
    "methods",
    "references",
    "substances",
]


class Form(StrEnum):
    """In what form a product is sold."""

    POWDER = "powder"
    GRANULES = "granules"
    TABLET = "tablet"
    LIQUID = "liquid"


class Role(StrEnum):
    """What a substance is used for."""

    RAISE_ALKALINITY = "raise alkalinity"
    RAISE_PH = "raise pH"
    LOWER_PH = "lower pH"
    RAISE_CALCIUM = "raise calcium"
    BROMIDE_BANK = "bromide bank"
    OXIDIZER = "oxidizer"
    CHLORINE_DOSE = "chlorine dose"
    SLOW_BROMINE = "slow bromine"
    SLOW_CHLORINE = "slow chlorine"
    BORATE_BUFFER = "borate buffer"
    REDUCER = "reducer"


class StatedAs(StrEnum):
    """How a label states a strength."""

    MASS_FRACTION = "mass fraction"
    AVAILABLE_CHLORINE = "available chlorine"
    ACTIVE_OXYGEN = "active oxygen"


_GRAMS_PER_MOL_OXIDANT = {StatedAs.AVAILABLE_CHLORINE: 70.906, StatedAs.ACTIVE_OXYGEN: 15.999}  # Cl2, O
_PURITY_SLACK = 1.05  # labels round, and a hydrate dries out
_COMPOSITIONS = Basis(BasisKind.CALCULATION, ("iupac-weights",))
_STRENGTHS = Basis(BasisKind.FROM_MEMORY, (), "typical products on sale; the label wins")


@dataclass(frozen=True)
class Reference:
    """A source and what was read of it."""

    key: str
    title: str
    publisher: str
    read: str


@dataclass(frozen=True, eq=False)
class Substance:
    """A chemical by its active ingredient.

    Attributes:
        composition: of the pure substance. strength: low, typical, high mass fraction on sale (from memory).
        density_kg_per_l: of a liquid. bulk_density: level, g/mL, of a solid.
        family: its column in the table of incompatibilities.
        cap_mg_per_l: most in one addition (as alkalinity, hardness or product); 0 for none.
        minutes: wait after it. refused: sanitizer to the kind of the refusal.
        hazards: short words for the danger. cautions: keys of the texts that stand by a step.
        stated_as: how labels usually state the strength. strength_basis: of ``strength``, densities and hazards.
    """

    key: str
    name: str
    formula: str
    molar_mass: float
    composition: Composition
    strength: tuple[float, float, float]
    form: Form
    family: str
    roles: frozenset[Role]
    cap_mg_per_l: float
    minutes: float
    aliases: tuple[str, ...]
    refused: Mapping[str, str]
    density_kg_per_l: float | None = None
    bulk_density: float | None = None
    basis: Basis = _COMPOSITIONS
    hazards: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    stated_as: StatedAs = StatedAs.MASS_FRACTION
    strength_basis: Basis = _STRENGTHS

    def refusal(self, sanitizer: str) -> str:
        """The kind of the refusal in a tub of this sanitizer, or empty."""
        return self.refused.get(str(sanitizer), "")

    def mass_fraction(self, stated: float, way: StatedAs, field: str = "strength") -> float:
        """The mass fraction of the substance in a product, from what its label states (a share, 0 to 1).

        Available chlorine is g of Cl2 with the oxidizing power of one g of product, active oxygen g of O (calculation).

        Raises:
            InputError: not above zero, more than the pure substance has, or the substance is no oxidant.
        """
        most = self._most(way)
        if most <= 0.0:
            raise InputError.one(field, way.value, f"a mass fraction, since {self.name} is no oxidant")
        if not 0.0 < stated <= most * _PURITY_SLACK:
            raise InputError.one(field, f"{stated:.4g}", f"a share above 0 and up to {most:.4g} as {way.value}")
        return min(stated / most, 1.0)

    def _most(self, way: StatedAs) -> float:
        grams = _GRAMS_PER_MOL_OXIDANT.get(way)
        return 1.0 if grams is None else self.composition.oxidant * grams


@dataclass(frozen=True)
class MethodQuantity:
    """How well a method reads a quantity, in the unit of the quantity (oxidants on the kit's own scale)."""

    absolute: float
    relative: float
    combine: str
    resolution: float
    low: float
    high: float
    steps: tuple[float, ...]


@dataclass(frozen=True, eq=False)
class Method:
    """A test method; ``quantities`` holds what it reads."""

    key: str
    name: str
    minutes: float
    wait_seconds: float
    interferences: tuple[str, ...]
    quantities: Mapping[Quantity, MethodQuantity]
    basis: Basis


@dataclass(frozen=True)
class Limits:
    """Limits of one quantity, in its unit, from outside to inside and out again; infinite where there is none.

    Attributes:
        unverified: names of the limits whose number is from memory. caution: from where on (below the first, above
            the second) a caution belongs to a verdict that allows bathing; None where there is none.
    """

    keep_out_low: float
    bathing_low: float
    aim_low: float
    aim_high: float
    bathing_high: float
    keep_out_high: float
    basis: Basis
    unverified: frozenset[str] = frozenset()
    caution: tuple[float, float] | None = None

    def verified(self, name: str) -> bool:
        """Whether the number called ``name`` ("bathing_low") may be shown without the mark of an unverified one."""
        return self.basis.verified and name not in self.unverified


@dataclass(frozen=True, eq=False)
class Guideline:
    """A set of limits with its source.

    Attributes:
        max_test_age_hours: how long a reading counts for bathing. longest_test_age_hours: the same once the overnight
            loss is known. test_interval_hours: required between two tests, h.
        litres_per_bather: least water for each person, L. session_minutes: longest stay, min.
    """

    key: str
    name: str
    edition: str
    max_test_age_hours: float
    test_interval_hours: float
    limits: Mapping[Quantity, Limits]
    longest_test_age_hours: float
    litres_per_bather: float
    session_minutes: float
    basis: Basis


@dataclass(frozen=True)
class Default:
    """What is assumed of an unknown. ``kind`` lognormal, normal or constant; ``spread`` accordingly."""

    key: str
    value: float
    kind: str
    spread: float
    low: float
    high: float
    unit: str
    basis: Basis
    zero_share: float = 0.0

    def replaced(self, **changes: Any) -> Default:
        """A copy with some fields replaced."""
        return replace(self, **changes)


@dataclass(frozen=True)
class Incompatibility:
    """Why two families never meet: ``effect`` such as "fire" or "chlorine gas"."""

    effect: str
    basis: Basis


@cache
def references() -> Mapping[str, Reference]:
    """Sources by key."""
    return MappingProxyType(
        {k: Reference(k, r["title"], r["publisher"], r["read"]) for k, r in table("references").items()}
    )


@cache
def substances() -> Mapping[str, Substance]:
    """Substances by key."""
    return MappingProxyType({key: _substance(key, row) for key, row in table("substances").items()})


def _substance(key: str, row: Mapping[str, Any]) -> Substance:
    low, typical, high = row["strength"]
    return Substance(
        key=key,
        name=row["name"],
        formula=row["formula"],
        molar_mass=row["molar_mass"],
        composition=Composition.of(**row["composition"]),
        strength=(low, typical, high),
        form=Form(row["form"]),
        family=row["family"],
        roles=frozenset(Role(r) for r in row["roles"]),
        cap_mg_per_l=row["cap_mg_per_l"],
        minutes=row["minutes"],
        aliases=tuple(row["aliases"]),
        refused=MappingProxyType(row.get("refused", {})),
        density_kg_per_l=row.get("density_kg_per_l"),
        bulk_density=row.get("bulk_density"),
        basis=_composition_basis(row),
        hazards=tuple(row["hazards"]),
        cautions=tuple(row["cautions"]),
        stated_as=StatedAs(row.get("stated_as", "mass fraction")),
    )


def _composition_basis(row: Mapping[str, Any]) -> Basis:
    sources = ("iupac-weights", *row.get("composition_sources", ()))
    return Basis(BasisKind.CALCULATION, sources, row.get("composition_note", ""))


def find_substance(text: str) -> Substance:
    """The substance that a label or keeper means by ``text``: key, name or a trade word for it.

    Raises:
        UnknownKey: none is called so; carries the nearest names.
    """
    names = _substance_names()
    for wanted in (text, *_INSIDE.findall(text), _OUTSIDE.sub(" ", text)):  # the ingredient in brackets wins
        key = names.get(_plain(wanted))
        if key is not None:
            return substances()[key]
    raise UnknownKey("substance", text, names)


_OUTSIDE, _INSIDE = re.compile(r"\([^()]*\)"), re.compile(r"\(([^()]+)\)")


def _plain(text: str) -> str:
    return " ".join(re.sub(r"[-(),]", " ", text.lower()).split())


@cache
def _substance_names() -> Mapping[str, str]:
    rows = substances().items()
    return {_plain(name): key for key, found in rows for name in (key, found.name, *found.aliases)}


@cache
def methods() -> Mapping[str, Method]:
    """Test methods by key."""
    return MappingProxyType({key: _method(key, row) for key, row in table("methods").items()})


def _method(key: str, row: Mapping[str, Any]) -> Method:
    quantities = {
        Quantity(name): MethodQuantity(
            q["absolute"], q["relative"], q["combine"], q["resolution"], q["low"], q["high"], tuple(q["steps"])
        )
        for name, q in row["quantities"].items()
    }
    return Method(
        key, row["name"], row["minutes"], row["wait_seconds"], tuple(row["interferences"]), quantities, basis_of(row)
    )


@cache
def guidelines() -> Mapping[str, Guideline]:
    """Guidelines by key."""
    return MappingProxyType({key: _guideline(key, row) for key, row in table("guidelines").items()})


def _guideline(key: str, row: Mapping[str, Any]) -> Guideline:
    limits = {Quantity(name): _limits(limit) for name, limit in row["limits"].items()}
    return Guideline(
        key,
        row["name"],
        row["edition"],
        row["max_test_age_hours"],
        row["test_interval_hours"],
        MappingProxyType(limits),
        row["longest_test_age_hours"],
        row["litres_per_bather"],
        row["session_minutes"],
        basis_of(row),
    )


def _limits(row: Mapping[str, Any]) -> Limits:
    caution = tuple(row["caution"]) if "caution" in row else None
    low_out, low, aim_low, aim_high, high, high_out = row["rows"]
    unverified = frozenset(row.get("unverified", ()))
    return Limits(low_out, low, aim_low, aim_high, high, high_out, basis_of(row), unverified, caution)


@cache
def defaults() -> Mapping[str, Default]:
    """Defaults by name."""
    return MappingProxyType({key: _default(key, row) for key, row in table("defaults").items()})


def _default(key: str, row: Mapping[str, Any]) -> Default:
    return Default(
        key,
        row["value"],
        row["kind"],
        row["spread"],
        row["low"],
        row["high"],
        row["unit"],
        basis_of(row),
        row.get("zero_share", 0.0),
    )


@cache
def _pairs() -> Mapping[frozenset[str], Incompatibility]:
    rows = table("incompatibilities")
    basis = basis_of(rows)
    return {frozenset((a, b)): Incompatibility(effect, basis) for a, b, effect in rows["pairs"]}


def incompatible(first: str, second: str) -> Incompatibility | None:
    """Why two substances (keys) never meet in one container, or None."""
    families = frozenset((substances()[first].family, substances()[second].family))
    return _pairs().get(families)
