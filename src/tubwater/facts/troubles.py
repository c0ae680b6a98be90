"""Troubles: signs, their likely causes, the checks that tell causes apart, and what helps. Loaded once from TOML."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import Any

from tubwater.facts.basis import Basis
from tubwater.facts.read import basis_of, table

__all__ = ["Cause", "Check", "Troubles", "troubles"]


@dataclass(frozen=True)
class Cause:
    """A cause of troubles.

    Attributes:
        prior: how often it is behind a trouble, relative. water: what the believed water says of it, or "".
        signs, checks: key to the share of cases in which it shows. remedy: keys of what helps, in order.
    """

    key: str
    prior: float
    water: str
    signs: Mapping[str, float]
    checks: Mapping[str, float]
    remedy: tuple[str, ...]
    basis: Basis


@dataclass(frozen=True)
class Check:
    """A test that tells causes apart: minutes until it answers, and how often it answers yes without its causes."""

    key: str
    minutes: float
    background: float


@dataclass(frozen=True)
class Troubles:
    """The whole table: signs with their background shares, checks, causes, and complaints of people.

    ``plans`` holds for each sign and complaint the key of the purpose that a plan is asked for, "" for the usual visit.
    """

    signs: Mapping[str, float]
    checks: Mapping[str, Check]
    causes: Mapping[str, Cause]
    complaints: tuple[str, ...]
    plans: Mapping[str, str]


@cache
def troubles() -> Troubles:
    """The table of troubles."""
    data = table("troubles")
    unwell = data["complaints"]
    plans = {key: row["plan"] for key, row in data["signs"].items()} | dict.fromkeys(unwell["keys"], unwell["plan"])
    return Troubles(
        MappingProxyType({key: row["background"] for key, row in data["signs"].items()}),
        MappingProxyType({k: Check(k, row["minutes"], row["background"]) for k, row in data["checks"].items()}),
        MappingProxyType({key: _cause(key, row) for key, row in data["causes"].items()}),
        tuple(unwell["keys"]),
        MappingProxyType(plans),
    )


def _cause(key: str, row: Mapping[str, Any]) -> Cause:
    signs, checks = MappingProxyType(row["signs"]), MappingProxyType(row["checks"])
    return Cause(key, row["prior"], row["water"], signs, checks, tuple(row["remedy"]), basis_of(row))
