"""The tables of facts: typed, cited, loaded once from TOML."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import Any

from tubwater.chemistry import Composition
from tubwater.errors import UnknownKey
from tubwater.facts.basis import Basis, BasisKind
from tubwater.facts.quantity import Quantity

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
    basis: Basis = Basis(BasisKind.CALCULATION, ("iupac-weights",))

    def refusal(self, sanitizer: str) -> str:
        """The kind of the refusal in a tub of this sanitizer, or empty."""
        return self.refused.get(str(sanitizer), "")


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
    """Limits of one quantity, in its unit, from outside to inside and out again."""

    keep_out_low: float
    bathing_low: float
    aim_low: float
    aim_high: float
    bathing_high: float
    keep_out_high: float
    basis: Basis


@dataclass(frozen=True, eq=False)
class Guideline:
    """A set of limits with its source. ``max_test_age_hours``: how long a reading counts for bathing."""

    key: str
    name: str
    edition: str
    max_test_age_hours: float
    test_interval_hours: float
    limits: Mapping[Quantity, Limits]


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


def _table(name: str) -> dict[str, Any]:
    text = resources.files("tubwater.facts").joinpath(f"data/{name}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def _basis(row: Mapping[str, Any]) -> Basis:
    return Basis(BasisKind(row["basis"]), tuple(row["sources"]), row.get("note", ""))


@cache
def references() -> Mapping[str, Reference]:
    """Sources by key."""
    return MappingProxyType({k: Reference(k, r["title"], r["publisher"], r["read"]) for k, r in _table("references").items()})


@cache
def substances() -> Mapping[str, Substance]:
    """Substances by key."""
    return MappingProxyType({key: _substance(key, row) for key, row in _table("substances").items()})


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
    )


def find_substance(text: str) -> Substance:
    """The substance that a label or keeper means by ``text``: key, name or a trade word for it.

    Raises:
        UnknownKey: none is called so; carries the nearest names.
    """
    wanted = " ".join(text.lower().replace("-", " ").split())
    names: dict[str, str] = {}
    for key, substance in substances().items():
        for name in (key, substance.name, *substance.aliases):
            names[" ".join(name.lower().replace("-", " ").split())] = key
    if wanted in names:
        return substances()[names[wanted]]
    raise UnknownKey("substance", text, names)


@cache
def methods() -> Mapping[str, Method]:
    """Test methods by key."""
    return MappingProxyType({key: _method(key, row) for key, row in _table("methods").items()})


def _method(key: str, row: Mapping[str, Any]) -> Method:
    quantities = {
        Quantity(name): MethodQuantity(
            q["absolute"], q["relative"], q["combine"], q["resolution"], q["low"], q["high"], tuple(q["steps"])
        )
        for name, q in row["quantities"].items()
    }
    return Method(
        key, row["name"], row["minutes"], row["wait_seconds"], tuple(row["interferences"]), quantities, _basis(row)
    )


@cache
def guidelines() -> Mapping[str, Guideline]:
    """Guidelines by key."""
    return MappingProxyType({key: _guideline(key, row) for key, row in _table("guidelines").items()})


def _guideline(key: str, row: Mapping[str, Any]) -> Guideline:
    limits = {Quantity(name): Limits(*limit["rows"], _basis(limit)) for name, limit in row["limits"].items()}
    return Guideline(
        key, row["name"], row["edition"], row["max_test_age_hours"], row["test_interval_hours"], MappingProxyType(limits)
    )


@cache
def defaults() -> Mapping[str, Default]:
    """Defaults by name."""
    return MappingProxyType({key: _default(key, row) for key, row in _table("defaults").items()})


def _default(key: str, row: Mapping[str, Any]) -> Default:
    names = ("value", "kind", "spread", "low", "high", "unit")
    return Default(key, *(row[n] for n in names), _basis(row), row.get("zero_share", 0.0))


@cache
def _pairs() -> Mapping[frozenset[str], Incompatibility]:
    table = _table("incompatibilities")
    basis = _basis(table)
    return {frozenset((a, b)): Incompatibility(effect, basis) for a, b, effect in table["pairs"]}


def incompatible(first: str, second: str) -> Incompatibility | None:
    """Why two substances (keys) never meet in one container, or None."""
    families = frozenset((substances()[first].family, substances()[second].family))
    return _pairs().get(families)
