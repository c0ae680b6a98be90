"""When the water is to be changed: the rules of each guideline, typed and cited, loaded once from TOML."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from types import MappingProxyType
from typing import Any

from tubwater.facts.basis import Basis
from tubwater.facts.read import basis_of, table

__all__ = ["DrainKind", "DrainRule", "drain_rules"]


class DrainKind(StrEnum):
    """What a rule counts; its value is in the unit named here."""

    PEOPLE = "people"  # L for each use by one bather
    CALENDAR = "calendar"  # days
    INCIDENT = "incident"  # no value
    WILL_NOT_HOLD = "will-not-hold"  # share lost overnight
    HYDANTOIN = "hydantoin"  # mg/L
    CYANURATE = "cyanurate"  # mg/L
    SOLIDS = "solids"  # mg/L above the fill water


@dataclass(frozen=True)
class DrainRule:
    """A rule for changing the water.

    Attributes:
        value: in the unit of its kind. decides: whether it sets the date or only advises.
        share: the part of the water that it wants changed, 0 to 1.
    """

    kind: DrainKind
    value: float
    decides: bool
    basis: Basis
    share: float = 1.0


@cache
def drain_rules() -> Mapping[str, tuple[DrainRule, ...]]:
    """The rules by the key of their guideline."""
    rows = table("drain").items()
    return MappingProxyType({key: tuple(_rule(kind, row) for kind, row in rules.items()) for key, rules in rows})


def _rule(kind: str, row: Mapping[str, Any]) -> DrainRule:
    return DrainRule(DrainKind(kind), row["value"], row["decides"], basis_of(row), row.get("share", 1.0))
