"""What a gram of a pure substance brings into the water."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from tubwater.chemistry.water import COMPONENTS, INDEX, STRONG_CHARGE
from tubwater.errors import ChemistryError

__all__ = ["Composition"]


@dataclass(frozen=True, eq=False)
class Composition:
    """Component amounts of one gram of a substance.

    Attributes:
        per_gram: mol per g, shape (len(COMPONENTS),), in the components of ``Water``.
    """

    per_gram: NDArray[np.float64]

    @classmethod
    def of(cls, **mmol_per_gram: float) -> Self:
        """A composition from mmol of component per gram of substance."""
        per_gram = np.zeros(len(COMPONENTS))
        for name, value in mmol_per_gram.items():
            if name not in INDEX:
                raise ChemistryError(f"no component is called {name!r}; known are {', '.join(COMPONENTS)}")
            per_gram[INDEX[name]] = value * 1e-3
        per_gram.setflags(write=False)
        return cls(per_gram)

    @property
    def alkalinity(self) -> float:
        """Alkalinity at once, eq per g."""
        return float(STRONG_CHARGE @ self.per_gram)

    @property
    def oxidant(self) -> float:
        """Oxidant, mol of halogen(+1) equivalent per g."""
        return float(sum(self.per_gram[INDEX[name]] for name in ("bromine", "chlorine", "monopersulfate")))

    @property
    def alkalinity_spent(self) -> float:
        """Alkalinity once the oxidant is used up on ordinary reductants, eq per g: one H+ for each mol."""
        return self.alkalinity - self.oxidant

    def scaled(self, fraction: float) -> Self:
        """The composition of a product that holds ``fraction`` (mass) of the substance."""
        return type(self)(self.per_gram * fraction)

    def plus(self, other: Composition) -> Self:
        """The sum of two compositions, for a blend."""
        return type(self)(self.per_gram + other.per_gram)
