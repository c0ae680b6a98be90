"""How long strips, reagents and products stay good once opened: typed, cited, loaded once from TOML."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from tubwater.facts.basis import Basis
from tubwater.facts.read import basis_of, table

__all__ = ["ShelfLife", "shelf_lives"]


@dataclass(frozen=True)
class ShelfLife:
    """``days_open``: days after opening, where the package does not say."""

    days_open: float
    basis: Basis


@cache
def shelf_lives() -> Mapping[str, ShelfLife]:
    """By the key of a test method or a substance."""
    rows = table("shelf_life").items()
    return MappingProxyType({key: ShelfLife(row["days_open"], basis_of(row)) for key, row in rows})
