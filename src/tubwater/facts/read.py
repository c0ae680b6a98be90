"""Reads the data files of this package."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from importlib import resources
from typing import Any

from tubwater.facts.basis import Basis, BasisKind

__all__ = ["basis_of", "table"]


def table(name: str) -> dict[str, Any]:
    """The content of ``data/<name>.toml``."""
    text = resources.files("tubwater.facts").joinpath(f"data/{name}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def basis_of(row: Mapping[str, Any]) -> Basis:
    """The basis that a row of data states."""
    return Basis(BasisKind(row["basis"]), tuple(row["sources"]), row.get("note", ""))
