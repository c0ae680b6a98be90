"""The keeper's products as the belief needs them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from tubwater.chemistry import Composition
from tubwater.dynamics import FULL_TABLET_GRAMS

__all__ = ["Products"]


@dataclass(frozen=True)
class Products:
    """Compositions of the keeper's products as they stand on the shelf, and the mass of a tablet, g."""

    compositions: Mapping[str, Composition]
    tablet: Composition | None = None
    tablet_grams: float = FULL_TABLET_GRAMS
