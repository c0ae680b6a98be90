"""Frozen buffering for roll-outs: activities and ion pairs held, only pH moves.

A plan moves alkalinity by some tens of mg/L; ionic strength and pairs hardly follow.  Freezing them makes a
solve some ten times cheaper.  Agreement with the full equilibrium is tested to 0.02 pH and 0.03 in saturation.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tubwater.chemistry import constants as c
from tubwater.chemistry.equilibrium import Equilibrium, equilibrate
from tubwater.chemistry.water import Water

__all__ = ["FrozenBuffer", "freeze"]

Array = NDArray[np.float64]
_LN10 = float(np.log(10.0))
_STEPS = 4
_NEAR = 1e-3  # pH; the error of a Newton step goes with the square of the step


@dataclass(frozen=True, eq=False)
class FrozenBuffer:
    """Conditional constants of some waters, shape M; every method broadcasts against (..., *M).

    Attributes:
        r1, r2: bicarbonate (with pairs) per CO2 times h, carbonate (with pairs) per CO2 times h squared.
        oh, h: OH- times h, and H+ per h, in concentration. acids: (total mol/kg, conditional K) of fixed weak acids.
        k_bromine: conditional K of HOBr. calcite: log10 factor from calcium times CO2 / h squared to saturation index.
        co2_per_atm: dissolved CO2 at one atm, mol/kg. ph0: the pH when frozen.
        rest: alkalinity in what is held fixed (second charges of cyanurates), eq/kg.
    """

    r1: Array
    r2: Array
    oh: Array
    h: Array
    acids: tuple[tuple[Array, Array], ...]
    k_bromine: Array
    calcite: Array
    co2_per_atm: Array
    ph0: Array
    rest: Array

    def ph(self, alkalinity: Array, carbonate: Array, bromine: Array, start: ArrayLike) -> Array:
        """pH from alkalinity (eq/kg), carbonate and bromine (mol/kg) by damped Newton steps from ``start``."""
        ph = np.asarray(start, dtype=float)
        for _ in range(_STEPS):
            value, slope = self._balance(ph, carbonate, bromine)
            step = np.clip((alkalinity - value) / (_LN10 * slope), -0.6, 0.6)
            ph = ph + step
            if max(step.max(initial=0.0), -step.min(initial=0.0)) < _NEAR:
                break
        result: Array = np.clip(ph, 3.0, 11.5)
        return result

    def co2(self, carbonate: Array, ph: Array) -> Array:
        """Dissolved CO2, mol/kg."""
        inverse = np.exp(_LN10 * ph)
        value: Array = carbonate / (1.0 + inverse * (self.r1 + inverse * self.r2))
        return value

    def co2_at(self, pco2: ArrayLike) -> Array:
        """Dissolved CO2 in equilibrium with air of ``pco2`` (atm), mol/kg."""
        value: Array = self.co2_per_atm * np.asarray(pco2, dtype=float)
        return value

    def si_calcite(self, ph: Array, calcium: Array, carbonate: Array) -> Array:
        """Saturation index of calcite from total calcium and carbonate (mol/kg) at a pH."""
        co2 = self.co2(carbonate, ph)
        value: Array = self.calcite + np.log10(np.maximum(calcium * co2, 1e-300)) + 2.0 * ph
        return value

    def __getitem__(self, index: Any) -> FrozenBuffer:
        """The buffers at ``index`` of M."""
        rows = {n: getattr(self, n)[index] for n in self.__dataclass_fields__ if n != "acids"}
        return FrozenBuffer(**rows, acids=tuple((t[index], k[index]) for t, k in self.acids))

    def _balance(self, ph: Array, carbonate: Array, bromine: Array) -> tuple[Array, Array]:
        inverse = np.exp(_LN10 * ph)
        first, second = inverse * self.r1, inverse * inverse * self.r2
        whole = 1.0 + first + second
        co2 = carbonate / whole
        oh, h = self.oh * inverse, self.h / inverse
        value = co2 * (first + 2.0 * second) + oh - h + self.rest
        slope = co2 * (first + first * second + 4.0 * second) / whole + oh + h
        for total, k in (*self.acids, (bromine, self.k_bromine)):
            ratio = k * inverse
            ion = total * ratio / (1.0 + ratio)
            value = value + ion
            slope = slope + ion / (1.0 + ratio)
        return value, slope


def freeze(water: Water, constants: c.Constants = c.DEFAULT, solved: Equilibrium | None = None) -> FrozenBuffer:
    """The buffering of a water, shape S, at its present ionic strength and pairs (``solved``, if at hand)."""
    e = equilibrate(water, constants) if solved is None else solved
    h = 10.0**-e.ph
    co2 = np.maximum(e.species("CO2"), 1e-30)
    bi = e.species("HCO3-") + e.species("CaHCO3+") + e.species("MgHCO3+") + e.species("NaHCO3")
    di = e.species("CO3--") + e.species("CaCO3") + e.species("MgCO3") + e.species("NaCO3-") + e.species("NaCO3-")
    product = e.species("Ca++") * e.gammas.calcium * e.species("CO3--") * e.gammas.carbonate
    scale = np.maximum(product, 1e-300) * h**2 / (np.maximum(water.calcium, 1e-30) * co2)
    frozen = FrozenBuffer(
        r1=bi / co2 * h,
        r2=di / co2 * h * h,
        oh=(e.species("OH-") + e.species("MgOH+")) * h,
        h=(e.species("H+") + e.species("HSO4-")) / h,
        acids=_acids(e, h),
        k_bromine=10.0 ** -c.pk_hobr(water.temperature, e.constants) * e.gammas.neutral / e.gammas.davies1,
        calcite=np.log10(scale) - c.log_k_calcite(water.temperature, e.constants),
        co2_per_atm=10.0 ** c.log_k_henry_co2(water.temperature) / e.gammas.co2,
        ph0=e.ph,
        rest=np.zeros(water.shape),
    )
    return replace(frozen, rest=water.alkalinity - frozen._balance(e.ph, water.carbonate, water.bromine)[0])


_ACIDS = (  # the acid, its ions
    ("B(OH)3", ("B(OH)4-", "CaB(OH)4+")),
    ("DMH", ("DMH-",)),
    ("H3Cy", ("H2Cy-",)),
    ("H2ClCy", ("HClCy-",)),
    ("NH4+", ("NH3",)),
    ("HOCl", ("OCl-",)),
)


def _acids(e: Equilibrium, h: Array) -> tuple[tuple[Array, Array], ...]:
    """Fixed weak acids as one-proton buffers; what chlorine cyanurate holds is held with the rest."""
    found = []
    for acid, ions in _ACIDS:
        ion, rest = sum((e.species(name) for name in ions), np.zeros(h.shape)), e.species(acid)
        if ion.any():
            found.append((ion + rest, np.where(rest > 0.0, ion / np.maximum(rest, 1e-30) * h, 0.0)))
    return tuple(found)
