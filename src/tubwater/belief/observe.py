"""What a perfect test would read of each member's water."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from tubwater.chemistry import (
    COARSE,
    MG_PER_MOL,
    Equilibrium,
    conductivity,
    equilibrate,
    kg_water_per_litre,
    mg_per_litre,
)
from tubwater.dynamics import FULL_TABLET_GRAMS, TubState
from tubwater.facts.quantity import Quantity

__all__ = ["Observer"]

Array = NDArray[np.float64]
_AS_BR2, _AS_CL2 = MG_PER_MOL["bromine"] * 1e3, MG_PER_MOL["free chlorine"] * 1e3


class Observer:
    """Reads quantities of one state, shape S, in the unit of ``Quantity``; the equilibrium is solved once at most."""

    def __init__(self, state: TubState) -> None:
        self._state = state
        self._solved: Equilibrium | None = None

    @property
    def solved(self) -> Equilibrium:
        """The full equilibrium of the water."""
        if self._solved is None:
            self._solved = equilibrate(self._state.water, start_ph=self._state.ph, tolerance=COARSE)
        return self._solved

    def read(self, quantity: Quantity) -> Array:
        """The true value of a quantity, shape S."""
        return _READERS[quantity](self)

    @property
    def monopersulfate(self) -> Array:
        """Unreacted monopersulfate as a total test shows it, mg/L as Br2."""
        return self._mg(self._state.water.monopersulfate * _AS_BR2)

    @property
    def chlorine(self) -> Array:
        """Active chlorine that has met no bromide, mg/L as Br2."""
        return self._mg(self._state.water.chlorine * _AS_BR2)

    def _mg(self, per_kg: Array) -> Array:
        value: Array = per_kg * kg_water_per_litre(self._state.water)
        return value

    def _named(self, name: str) -> Array:
        return mg_per_litre(self._state.water, name)


def _left(state: TubState) -> Array:
    """Of the tablets put in last, %; nothing where none were."""
    full = np.maximum(state.tablet_count * FULL_TABLET_GRAMS, 1e-9)
    value: Array = 100.0 * np.minimum(state.tablet_grams / full, 1.0)
    return value


def _active(o: Observer) -> Array:
    water = o._state.water
    total: Array = water.bromine + water.chlorine
    return total


_READERS: dict[Quantity, Callable[[Observer], Array]] = {
    Quantity.BROMINE: lambda o: o._mg(_active(o) * _AS_BR2),
    Quantity.FREE_CHLORINE: lambda o: o._mg(_active(o) * _AS_CL2),
    Quantity.TOTAL_CHLORINE: lambda o: o._mg(_active(o) * _AS_CL2),
    Quantity.PH: lambda o: o.solved.ph,
    Quantity.TOTAL_ALKALINITY: lambda o: o._named("total alkalinity"),
    Quantity.CALCIUM_HARDNESS: lambda o: o._named("calcium hardness"),
    Quantity.TOTAL_HARDNESS: lambda o: o._named("calcium hardness") + o._named("magnesium hardness"),
    Quantity.CYANURIC_ACID: lambda o: o._named("cyanuric acid"),
    Quantity.BORATE: lambda o: o._named("borate"),
    Quantity.SULFATE: lambda o: o._named("sulfate"),
    Quantity.CHLORIDE: lambda o: o._named("chloride"),
    Quantity.SODIUM: lambda o: o._named("sodium"),
    Quantity.MAGNESIUM: lambda o: o._named("magnesium hardness") * 24.305 / 100.087,
    Quantity.CONDUCTIVITY: lambda o: conductivity(o._state.water),
    Quantity.TEMPERATURE: lambda o: o._state.water.temperature,
    Quantity.TABLETS_LEFT: lambda o: _left(o._state),
}
