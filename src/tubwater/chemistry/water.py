"""The state of a water: temperature and component totals, in arrays of any shape.

A component total holds everything of that component, whatever species it is in.  The zero level of
alkalinity is H2O, CO2, B(OH)3, SO4--, HOBr, HOCl, cyanuric acid, dimethylhydantoin, NH4+, HSO5- and the
halide ions, so that alkalinity is the charge of the strong ions: doses add up in it linearly and carbon
dioxide leaves it alone (Stumm & Morgan, Aquatic Chemistry, ch. 4, the convention; cited from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tubwater.errors import ChemistryError

__all__ = ["COMPONENTS", "INDEX", "STRONG_CHARGE", "Water", "stacked"]

COMPONENTS: tuple[str, ...] = (
    "carbonate",
    "calcium",
    "magnesium",
    "sodium",
    "potassium",
    "chloride",
    "sulfate",
    "bromide",
    "other_anions",  # nitrate, ascorbate: strong, monovalent, in no equilibrium
    "ammonia",
    "borate",
    "cyanurate",
    "hydantoin",
    "bromine",  # active bromine(+1): HOBr and OBr-
    "chlorine",  # active chlorine(+1): HOCl, OCl- and what cyanurate holds
    "monopersulfate",
    "demand",  # organic matter that takes halogen later, once it is broken down, in mol of halogen(+1)
    "reductant",  # what takes halogen at once: ripe organic matter or a reducer left over, in mol of halogen(+1)
)
INDEX: dict[str, int] = {name: i for i, name in enumerate(COMPONENTS)}
_CHARGES = {
    "calcium": 2.0,
    "magnesium": 2.0,
    "sodium": 1.0,
    "potassium": 1.0,
    "ammonia": 1.0,
    "chloride": -1.0,
    "sulfate": -2.0,
    "bromide": -1.0,
    "other_anions": -1.0,
    "monopersulfate": -1.0,
}
STRONG_CHARGE: NDArray[np.float64] = np.array([_CHARGES.get(name, 0.0) for name in COMPONENTS])
STRONG_CHARGE.setflags(write=False)


@dataclass(frozen=True, eq=False)
class Water:
    """A water, or an array of waters.

    Attributes:
        temperature: degC, shape S.
        totals: mol per kg water, shape (len(COMPONENTS), *S); every component is also an attribute.
    """

    temperature: NDArray[np.float64]
    totals: NDArray[np.float64]

    @classmethod
    def of(cls, temperature: ArrayLike, **components: ArrayLike) -> Self:
        """A water from component totals in mol per kg water, all broadcast together; absent ones are zero."""
        unknown = set(components) - set(COMPONENTS)
        if unknown:
            raise ChemistryError(f"no component is called {sorted(unknown)[0]!r}; known are {', '.join(COMPONENTS)}")
        celsius = np.asarray(temperature, dtype=float)
        shape = np.broadcast_shapes(celsius.shape, *(np.shape(v) for v in components.values()))
        totals = np.zeros((len(COMPONENTS), *shape))
        for name, value in components.items():
            totals[INDEX[name]] = value
        return cls(np.broadcast_to(celsius, shape).copy(), totals)

    @property
    def shape(self) -> tuple[int, ...]:
        """The shape S."""
        return self.temperature.shape

    @property
    def alkalinity(self) -> NDArray[np.float64]:
        """Total alkalinity as the charge of the strong ions, eq per kg water, shape S."""
        total: NDArray[np.float64] = np.tensordot(STRONG_CHARGE, self.totals, axes=1)
        return total

    def __getattr__(self, name: str) -> NDArray[np.float64]:
        if name in INDEX:
            row: NDArray[np.float64] = self.totals[INDEX[name]]
            return row
        raise AttributeError(name)

    def __getitem__(self, index: Any) -> Self:
        """The waters at ``index`` of the shape S."""
        return type(self)(self.temperature[index], self.totals[(slice(None), *_as_tuple(index))])

    def replaced(self, temperature: ArrayLike | None = None, **components: ArrayLike) -> Self:
        """A copy with some components (mol per kg water) or the temperature (degC) replaced."""
        totals = self.totals.copy()
        for name, value in components.items():
            totals[INDEX[name]] = value
        celsius = (
            self.temperature if temperature is None else np.broadcast_to(np.asarray(temperature, float), self.shape)
        )
        return type(self)(celsius, totals)

    def plus(self, **components: ArrayLike) -> Self:
        """A copy with amounts (mol per kg water) added to some components."""
        totals = self.totals.copy()
        for name, value in components.items():
            totals[INDEX[name]] += value
        return type(self)(self.temperature, totals)


def _as_tuple(index: Any) -> tuple[Any, ...]:
    return index if isinstance(index, tuple) else (index,)


def stacked(waters: Sequence[Water]) -> Water:
    """Waters of one shape S stacked on a new first axis."""
    return Water(np.stack([w.temperature for w in waters]), np.stack([w.totals for w in waters], axis=1))
