"""The running solution of a block of waters, what may be given of it, and parts of it that go on alone."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from enum import Enum
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from tubwater.chemistry.activity import basis
from tubwater.chemistry.constants import Constants
from tubwater.chemistry.reactions import Conditional, conditional
from tubwater.chemistry.water import INDEX

__all__ = ["Given", "State", "put_back", "taken"]

Array = NDArray[np.float64]
_INPUTS = frozenset(("totals", "acids", "metal_totals", "wanted", "plain", "pco2", "celsius"))
_WORKING = (*_INPUTS - {"totals", "celsius"}, *("k", "r", "carbonate", "alkalinity", "slope", "change", "once"))
_WORKING += ("last", "twice", "borated", "hocl_by_ph", "ph", "ionic_strength")


class Given(Enum):
    """Which two are given; the water's strong ions are the alkalinity where that is one of them."""

    ALKALINITY_CARBONATE = "alkalinity and total carbonate"
    ALKALINITY_GAS = "alkalinity and CO2 pressure"
    ALKALINITY_PH = "alkalinity and pH"
    CARBONATE_PH = "total carbonate and pH"
    CARBONATE_GAS = "total carbonate and CO2 pressure"
    GAS_PH = "CO2 pressure and pH"

    @cached_property
    def holds_ph(self) -> bool:
        """Whether the pH is given."""
        return self in (Given.ALKALINITY_PH, Given.CARBONATE_PH, Given.GAS_PH)

    @cached_property
    def holds_gas(self) -> bool:
        """Whether the CO2 pressure is given."""
        return self in (Given.ALKALINITY_GAS, Given.CARBONATE_GAS, Given.GAS_PH)


def _empty() -> Array:
    return np.zeros(0)


@dataclass(eq=False)
class State:
    """The running solution of a block; arrays of shape (N,), mol/kg unless said."""

    given: Given
    constants: Conditional
    totals: Array  # (components, N)
    acids: Array  # totals of the weak acids present, (acids, N)
    metal_totals: Array  # K, Ca, Na, Mg, (4, N)
    wanted: Array  # alkalinity of the strong ions, eq/kg
    plain: Array  # ions of one charge in no reaction, sodium and potassium
    pco2: Array | None  # atm
    ph: Array
    inverse_h: Array  # one over the activity of H+
    ionic_strength: Array
    free: Array  # K, Ca, Na, Mg and sulfate, (5, N)
    k: Array  # conditional constants, (rows, N)
    celsius: Array
    choice: Constants
    strength_of_k: Array = field(default_factory=_empty)  # ionic strength at which ``k`` was taken
    co2: Array = field(default_factory=_empty)
    carbonate: Array = field(default_factory=_empty)
    r: Array = field(default_factory=_empty)  # bicarbonate and carbonate per CO2, with their pairs, (2, N)
    alkalinity: Array = field(default_factory=_empty)  # of the species, eq/kg
    slope: Array = field(default_factory=_empty)  # buffer intensity, eq/kg per pH
    once: Array = field(default_factory=_empty)  # weak ions of one charge
    twice: Array | None = None  # weak ions of two charges, and of three as so many of two
    borated: Array | None = None  # CaB(OH)4+ per free calcium
    hocl: Array | None = None  # free, beside cyanurate
    hocl_by_ph: Array | None = None  # slope of its logarithm by ln(1/h)
    last: Array | None = None  # change in the last round
    change: Array = field(default_factory=_empty)  # what is left of the error
    steps: int = 0

    @property
    def metals(self) -> Array:
        """Free K, Ca, Na and Mg, (4, N)."""
        return self.free[:4]

    @property
    def sulfate(self) -> Array:
        """Free sulfate."""
        row: Array = self.free[4]
        return row

    def total(self, name: str) -> Array:
        """The total of a component, mol/kg."""
        row: Array = self.totals[INDEX[name]]
        return row

    def release(self) -> None:
        """Give back all memory but that of what was found: blocks then work in the same memory, one after another."""
        for name in _WORKING:
            setattr(self, name, _empty())
        self.constants = replace(self.constants, a=_empty(), reach=_empty(), ln_k=_empty(), bare=_empty())

    def renewed(self) -> Array:
        """The conditional constants as they were at the last round, made anew where they were released."""
        if self.k.size:
            return self.k
        rows = conditional(self.celsius, self.totals, self.choice)
        k: Array = np.exp(rows.weights @ basis(self.strength_of_k, rows.a, rows.reach)) * rows.bare
        return k

    def row(self, name: str) -> Array | None:
        """A conditional constant by name, None where nothing of it is present."""
        at = self.constants.at.get(name)
        value: Array | None = None if at is None else self.k[at]
        return value


def taken(now: State, rows: NDArray[np.intp]) -> State:
    """The state of some waters of a block."""
    old = now.constants
    a, reach, ln_k, bare = (_cut(value, rows) for value in (old.a, old.reach, old.ln_k, old.bare))
    part = replace(now, constants=replace(old, a=a, reach=reach, ln_k=ln_k, bare=bare))
    for name, value in vars(now).items():
        if isinstance(value, np.ndarray):
            setattr(part, name, _cut(value, rows))
    return part


def _cut(value: Array, rows: NDArray[np.intp]) -> Array:
    """Columns of an array; one that stands for every water stays."""
    return value if value.shape[-1] == 1 else value[..., rows]


def put_back(now: State, rows: NDArray[np.intp], part: State) -> None:
    """Write the state of some waters back into that of their block."""
    for name, value in vars(part).items():
        if isinstance(value, np.ndarray) and name not in _INPUTS:
            getattr(now, name)[..., rows] = value
    now.steps = part.steps
