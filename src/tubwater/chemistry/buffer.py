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
from tubwater.chemistry.equilibrium import COARSE, Equilibrium, equilibrate
from tubwater.chemistry.water import Water

__all__ = ["FrozenBuffer", "freeze"]

Array = NDArray[np.float64]
_LN10 = float(np.log(10.0))
_STEPS, _LONGEST = 4, 0.6
_NEAR = 0.03  # pH; the error of a Newton step goes with the square of the step: a thousandth at most


_Acid = tuple[Array, Array]  # total, mol/kg, and conditional K


@dataclass(frozen=True, eq=False)
class _Chlorine:
    """What follows the chlorine: HOCl, its cyanurate, and the cyanurate that it leaves free, each of shape M.

    Attributes:
        total: when frozen, mol/kg. free, bound: shares as HOCl with OCl-, and as cyanurate of one chlorine.
        k_free, k_bound, k_cyanuric: conditional K of HOCl, that cyanurate and cyanuric acid; 0 where there is none.
    """

    total: Array
    free: Array
    bound: Array
    k_free: Array
    k_bound: Array
    k_cyanuric: Array

    def __getitem__(self, index: Any) -> _Chlorine:
        return _Chlorine(**{n: getattr(self, n)[index] for n in self.__dataclass_fields__})

    def acids(self, chlorine: Array | None) -> tuple[_Acid, ...]:
        """One-proton acids with ``chlorine`` (mol/kg) present; the cyanurate is what changed since the freezing."""
        now = self.total if chlorine is None else chlorine
        if not (np.any(now) or self.total.any()):
            return ()
        free = (now * self.free, self.k_free)
        if not self.bound.any():
            return (free,)
        return free, (now * self.bound, self.k_bound), ((self.total - now) * self.bound, self.k_cyanuric)


@dataclass(frozen=True, eq=False)
class FrozenBuffer:
    """Conditional constants of some waters, shape M; every method broadcasts against (..., *M).

    Attributes:
        r1, r2: bicarbonate (with pairs) per CO2 times h, carbonate (with pairs) per CO2 times h squared.
        oh, h: OH- times h, and H+ per h, in concentration. acids: (total mol/kg, conditional K) of fixed weak acids.
        k_bromine: conditional K of HOBr. chlorine: shares and constants.
        calcite: log10 factor from calcium times CO2 / h squared to saturation index.
        co2_per_atm: dissolved CO2 at one atm, mol/kg. ph0: the pH when frozen.
        rest: alkalinity in what is held fixed (second charges of cyanurates), eq/kg.
    """

    r1: Array
    r2: Array
    oh: Array
    h: Array
    acids: tuple[tuple[Array, Array], ...]
    k_bromine: Array
    chlorine: _Chlorine
    calcite: Array
    co2_per_atm: Array
    ph0: Array
    rest: Array

    def ph(
        self, alkalinity: Array, carbonate: Array, bromine: Array, start: ArrayLike, chlorine: Array | None = None
    ) -> Array:
        """pH from alkalinity (eq/kg), carbonate, bromine and chlorine (mol/kg) by damped Newton steps from ``start``.

        Without ``chlorine`` there is as much of it as when the buffer was frozen.
        """
        halogens = ((bromine, self.k_bromine), *self.chlorine.acids(chlorine))
        shape = np.broadcast_shapes(np.shape(start), alkalinity.shape, carbonate.shape, self.r1.shape)
        ph: Array = np.broadcast_to(np.asarray(start, alkalinity.dtype), shape).copy()
        for _ in range(_STEPS):
            step, slope = self._balance(ph, carbonate, halogens)
            np.subtract(alkalinity, step, out=step)
            slope *= _LN10
            step /= slope
            np.maximum(step, -_LONGEST, out=step)
            np.minimum(step, _LONGEST, out=step)
            ph += step
            if max(step.max(initial=0.0), -step.min(initial=0.0)) < _NEAR:
                break
        np.maximum(ph, 3.0, out=ph)
        return np.minimum(ph, 11.5, out=ph)

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
        value: Array = self.calcite + np.log10(np.maximum(calcium * co2, 1e-30)) + 2.0 * ph
        return value

    def __getitem__(self, index: Any) -> FrozenBuffer:
        """The buffers at ``index`` of M."""
        rows = {n: getattr(self, n)[index] for n in self.__dataclass_fields__ if n != "acids"}
        return FrozenBuffer(**rows, acids=tuple((t[index], k[index]) for t, k in self.acids))

    def _balance(self, ph: Array, carbonate: Array, halogens: tuple[_Acid, ...]) -> tuple[Array, Array]:
        """Alkalinity and its slope / ln 10 at a pH, in place where it can be: blocks are large, and memory is slow."""
        inverse = np.exp(_LN10 * ph)
        first, second = inverse * self.r1, inverse * self.r2
        second *= inverse
        twice = second + second
        twice += first
        slope = first * second
        slope += twice
        slope += second
        slope += second
        whole = np.add(first, second, out=first)
        whole += 1.0
        co2 = np.divide(carbonate, whole, out=second)
        slope *= co2
        slope /= whole
        value = np.multiply(co2, twice, out=twice)
        oh, h = np.multiply(self.oh, inverse, out=first), np.divide(self.h, inverse, out=second)
        value += oh
        slope += oh
        value -= h
        slope += h
        value += self.rest
        for total, k in (*self.acids, *halogens):
            ratio = np.multiply(k, inverse, out=first)
            below = np.add(ratio, 1.0, out=second)
            ratio *= total
            ion = np.divide(ratio, below, out=ratio)
            value += ion
            ion /= below
            slope += ion
        return value, slope


def freeze(
    water: Water,
    constants: c.Constants = c.DEFAULT,
    solved: Equilibrium | None = None,
    start_ph: ArrayLike | None = None,
) -> FrozenBuffer:
    """The buffering of a water, shape S, at its present ionic strength and pairs (``solved``, if at hand)."""
    e = equilibrate(water, constants, start_ph, COARSE) if solved is None else solved
    h = 10.0**-e.ph
    co2 = np.maximum(e.species("CO2"), 1e-30)
    bi = e.species("HCO3-") + e.species("CaHCO3+") + e.species("MgHCO3+") + e.species("NaHCO3")
    di = e.species("CO3--") + e.species("CaCO3") + e.species("MgCO3") + e.species("NaCO3-") + e.species("NaCO3-")
    product = e.species("Ca++") * e.gammas.calcium * e.species("CO3--") * e.gammas.carbonate
    scale = np.maximum(product, 1e-300) * h**2 / (np.maximum(water.calcium, 1e-30) * co2)
    chlorine = _chlorine(water, e, h, constants)
    frozen = FrozenBuffer(
        r1=bi / co2 * h,
        r2=di / co2 * h * h,
        oh=(e.species("OH-") + e.species("MgOH+")) * h,
        h=(e.species("H+") + e.species("HSO4-")) / h,
        acids=_acids(e, h),
        k_bromine=10.0 ** -c.pk_hobr(water.temperature, e.constants) * e.gammas.neutral / e.gammas.davies1,
        chlorine=chlorine,
        calcite=np.log10(scale) - c.log_k_calcite(water.temperature, e.constants),
        co2_per_atm=10.0 ** c.log_k_henry_co2(water.temperature) / e.gammas.co2,
        ph0=e.ph,
        rest=np.zeros(water.shape),
    )
    halogens = ((water.bromine, frozen.k_bromine), *chlorine.acids(None))
    return replace(frozen, rest=water.alkalinity - frozen._balance(e.ph, water.carbonate, halogens)[0])


_ACIDS = (  # the acid, its ions
    ("B(OH)3", ("B(OH)4-", "CaB(OH)4+")),
    ("DMH", ("DMH-",)),
    ("H3Cy", ("H2Cy-",)),
    ("NH4+", ("NH3",)),
)


def _chlorine(water: Water, e: Equilibrium, h: Array, constants: c.Constants) -> _Chlorine:
    """How chlorine is shared out as the water is; without any, all of it would be free."""
    total = np.broadcast_to(water.chlorine, h.shape)
    some, whole = total > 0.0, np.maximum(total, 1e-30)
    free, bound = e.species("HOCl") + e.species("OCl-"), e.species("H2ClCy") + e.species("HClCy-")
    k_free = 10.0 ** -c.pk_hocl(water.temperature, constants) * e.gammas.neutral / e.gammas.davies1
    return _Chlorine(
        total=total,
        free=np.where(some, free / whole, 1.0),
        bound=np.where(some, bound / whole, 0.0),
        k_free=np.broadcast_to(k_free, h.shape),
        k_bound=_conditional(e, "H2ClCy", "HClCy-", h),
        k_cyanuric=_conditional(e, "H3Cy", "H2Cy-", h),
    )


def _conditional(e: Equilibrium, acid: str, ion: str, h: Array) -> Array:
    """Conditional K of an acid from its species; 0 where there is none."""
    rest = e.species(acid)
    found: Array = np.where(rest > 0.0, e.species(ion) / np.maximum(rest, 1e-30) * h, 0.0)
    return found


def _acids(e: Equilibrium, h: Array) -> tuple[tuple[Array, Array], ...]:
    """Fixed weak acids as one-proton buffers."""
    found = []
    for acid, ions in _ACIDS:
        ion, rest = sum((e.species(name) for name in ions), np.zeros(h.shape)), e.species(acid)
        if ion.any():
            found.append((ion + rest, np.where(rest > 0.0, ion / np.maximum(rest, 1e-30) * h, 0.0)))
    return tuple(found)
