"""Which families of chemicals never meet, and the rules of handling, storage, spills and first aid: typed and cited."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import Any

from tubwater.facts.basis import Basis
from tubwater.facts.read import basis_of, table
from tubwater.facts.tables import Incompatibility, substances

__all__ = ["SafetyRule", "families", "family_pairs", "safety_rules"]


@dataclass(frozen=True)
class SafetyRule:
    """A rule of one topic. ``minutes`` is how long, min (least, most), where a time belongs to it."""

    topic: str
    key: str
    basis: Basis
    minutes: tuple[float, float] | None = None


@cache
def safety_rules() -> Mapping[str, tuple[SafetyRule, ...]]:
    """The rules by topic, in the order of the data."""
    return MappingProxyType({topic: tuple(_rule(topic, k, r) for k, r in rows.items()) for topic, rows in _rows()})


def _rows() -> list[tuple[str, Mapping[str, Any]]]:
    return list(table("safety").items())


def _rule(topic: str, key: str, row: Mapping[str, Any]) -> SafetyRule:
    minutes = tuple(row["minutes"]) if "minutes" in row else None
    return SafetyRule(topic, key, basis_of(row), minutes)


@cache
def families() -> tuple[str, ...]:
    """Every family that some pair names, in the order in which the table shows them."""
    found: dict[str, None] = {}
    for first, second, _ in table("incompatibilities")["pairs"]:
        found |= {first: None, second: None}
    known = {substance.family for substance in substances().values()}
    return tuple(family for family in found if family in known)


@cache
def family_pairs() -> Mapping[frozenset[str], Incompatibility]:
    """Why two families never meet, by the pair."""
    rows = table("incompatibilities")
    basis = basis_of(rows)
    return MappingProxyType({frozenset((a, b)): Incompatibility(effect, basis) for a, b, effect in rows["pairs"]})
