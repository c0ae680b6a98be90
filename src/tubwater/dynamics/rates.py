"""How fast a tub changes its water: one set of rates per member of an ensemble."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tubwater.chemistry import Water

__all__ = ["GRAMS_BR2_PER_MOL", "Mode", "Rates"]

Array = NDArray[np.float64]
GRAMS_BR2_PER_MOL = 159.808  # a mol of halogen(+1) reads as so many grams of Br2
_REFERENCE_TEMPERATURE = 38.0  # degC, at which decay and release are stated


class Mode(StrEnum):
    """What moves the surface, which sets how fast carbon dioxide leaves."""

    COVERED = "covered"
    OPEN = "open"  # cover off, water still
    CIRCULATING = "circulating"  # cover off, pumps and water jets on, air off
    SOAKING = "soaking"  # cover off, jets and air on


@dataclass(frozen=True, eq=False)
class Rates:
    """Properties of a tub that the water's future depends on; arrays of one shape S unless said.

    Attributes:
        litres: true volume, L.
        idle_decay: first-order loss of active halogen, covered and unused at 38 degC, 1/h.
        decay_q10: factor of that loss per 10 K.
        kla: gas exchange of carbon dioxide by mode, 1/h.
        demand: halogen that a bather-hour uses, mol.
        fast_share: share of it used within minutes, 0 to 1.
        slow_rate: rate at which the rest is used, 1/h.
        release: mass lost by a fresh 20 g tablet at full opening, g/h.
        release_exponent: power of the remaining mass fraction in the release.
        carry_out: water lost per person and soak, L.
        evaporation: covered loss, L/h. leak: water that runs off and is made up with fill water, L/h.
        monopersulfate_rate: rate constant with bromide at the tub's temperature, kg/(mol s).
        air_pco2: carbon dioxide over the water, atm.
        fill: the water that replaces what is lost, at the tub's temperature.
    """

    litres: Array
    idle_decay: Array
    decay_q10: Array
    kla: Mapping[Mode, Array]
    demand: Array
    fast_share: Array
    slow_rate: Array
    release: Array
    release_exponent: Array
    carry_out: Array
    evaporation: Array
    leak: Array
    monopersulfate_rate: Array
    air_pco2: Array
    fill: Water

    def decay_at(self, temperature: ArrayLike) -> Array:
        """Loss rate of active halogen at ``temperature`` (degC), 1/h."""
        celsius = np.asarray(temperature)
        rate: Array = self.idle_decay * self.decay_q10 ** ((celsius - _REFERENCE_TEMPERATURE) / 10.0)
        return rate

    def __getitem__(self, index: Any) -> Rates:
        """The rates of the members at ``index``."""
        picked = {name: getattr(self, name)[index] for name in self.__dataclass_fields__ if name not in ("kla", "fill")}
        kla = {mode: value[index] for mode, value in self.kla.items()}
        return replace(self, **picked, kla=kla, fill=self.fill[index])
