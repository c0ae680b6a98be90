"""From what a test says back to a water: any two of pH, alkalinity, total carbonate and CO2 pressure.

Titrated alkalinity is the acid that brings the sample to pH 4.5 after thiosulfate has destroyed the halogen, so
OBr- and OCl- are not in it, and what still takes acid at pH 4.5 is not either (Standard Methods 2320, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tubwater.chemistry.constants import DEFAULT, Constants
from tubwater.chemistry.equilibrium import Equilibrium, equilibrate, solved
from tubwater.chemistry.state import Given
from tubwater.chemistry.water import STRONG_CHARGE, Water
from tubwater.errors import ChemistryError

__all__ = [
    "Inversion",
    "alkalinity_parts",
    "carbonate_from",
    "closed",
    "from_test",
    "solve_pair",
    "titrated_alkalinity",
    "water_at_ph",
]

Array = NDArray[np.float64]
_END_POINT = 4.5
_ROUNDS = 12
_SETTLED = 1e-12  # eq/kg
_MOST = 55.5  # mol/kg, as much as there is water: a pair that asks for more contradicts itself


@dataclass(frozen=True, eq=False)
class Inversion:
    """A water found from a test, and whether it can exist.

    Attributes:
        water: with carbonate at zero where no carbonate fits.
        possible: False where the pair contradicts itself (carbonate would be below zero), shape S.
    """

    water: Water
    possible: NDArray[np.bool_]


def closed(water: Water, alkalinity: ArrayLike) -> Water:
    """The water with sodium set so that the strong ions make ``alkalinity`` (eq/kg); chloride where sodium runs out."""
    missing = np.asarray(alkalinity, dtype=float) - water.alkalinity
    wide = _wide(water, missing)
    sodium = wide.sodium + missing
    return wide.replaced(sodium=np.maximum(sodium, 0.0), chloride=wide.chloride + np.maximum(-sodium, 0.0))


def carbonate_from(water: Water, ph: ArrayLike, constants: Constants = DEFAULT) -> Array:
    """Total carbonate (mol/kg) that gives the water ``ph`` at its alkalinity; below zero where none does."""
    _, carbonate, _ = solved(_wide(water, ph), constants, Given.ALKALINITY_PH, ph)
    return carbonate


def water_at_ph(water: Water, ph: ArrayLike, alkalinity: ArrayLike, constants: Constants = DEFAULT) -> Water:
    """The water with the sodium and carbonate that give it ``ph`` and ``alkalinity`` (eq/kg, strong ions).

    Where no carbonate fits it is left at zero (``solve_pair`` says where).
    """
    return solve_pair(water, ph=ph, alkalinity=alkalinity, constants=constants).water


def solve_pair(
    water: Water,
    *,
    ph: ArrayLike | None = None,
    alkalinity: ArrayLike | None = None,
    carbonate: ArrayLike | None = None,
    pco2: ArrayLike | None = None,
    constants: Constants = DEFAULT,
) -> Inversion:
    """The water from any two of pH, alkalinity (eq/kg), total carbonate (mol/kg) and CO2 pressure (atm).

    Args:
        water: temperature and the other totals; its own carbonate is replaced and sodium closes the charge.
    Raises:
        ChemistryError: not exactly two are given, or one is negative or not finite.
    """
    named = {"ph": ph, "alkalinity": alkalinity, "carbonate": carbonate, "pco2": pco2}
    values = {name: np.asarray(value, dtype=float) for name, value in named.items() if value is not None}
    if len(values) != 2:
        raise ChemistryError(f"two of ph, alkalinity, carbonate and pco2 are needed, got {len(values)}")
    _refuse(values)
    start = _wide(water, *values.values())
    if "alkalinity" in values:
        return _with_alkalinity(closed(start, values.pop("alkalinity")), values, constants)
    return _without_alkalinity(start, values, constants)


def _refuse(values: dict[str, Array]) -> None:
    for name, value in values.items():
        if not np.isfinite(value).all() or (name in ("carbonate", "pco2") and (value < 0.0).any()):
            raise ChemistryError(f"{name} is not finite or below zero")


def _with_alkalinity(water: Water, values: dict[str, Array], constants: Constants) -> Inversion:
    (name, value), *_ = values.items()
    if name == "carbonate":
        found = np.broadcast_to(value, water.shape)
    elif name == "ph":
        found = carbonate_from(water, value, constants)
    else:
        _, found, _ = solved(water, constants, Given.ALKALINITY_GAS, 8.0, value)
    return Inversion(water.replaced(carbonate=np.maximum(found, 0.0)), found >= 0.0)


def _without_alkalinity(water: Water, values: dict[str, Array], constants: Constants) -> Inversion:
    """Sodium, and with it ionic strength, follows from the alkalinity that is found: repeated until it settles."""
    given = {
        frozenset(("ph", "carbonate")): Given.CARBONATE_PH,
        frozenset(("ph", "pco2")): Given.GAS_PH,
        frozenset(("carbonate", "pco2")): Given.CARBONATE_GAS,
    }[frozenset(values)]
    now = water.replaced(carbonate=values.get("carbonate", water.carbonate))
    for _ in range(_ROUNDS * 4):
        before = now.alkalinity
        solution, carbonate, alkalinity = solved(now, constants, given, values.get("ph"), values.get("pco2"))
        held = now.replaced(carbonate=np.minimum(carbonate, _MOST))
        now = closed(held, np.clip(alkalinity, -_MOST, _MOST))
        if np.abs(alkalinity - before).max(initial=0.0) < _SETTLED:
            break
    fits = (carbonate <= _MOST) & (np.abs(alkalinity) <= _MOST)
    if given is Given.CARBONATE_GAS:
        fits &= np.abs(carbonate - values["carbonate"]) <= 1e-6 * np.maximum(values["carbonate"], 1e-9)
        now = now.replaced(carbonate=values["carbonate"])
    return Inversion(now, fits & solution.converged)


def from_test(
    temperature: ArrayLike,
    ph: ArrayLike,
    alkalinity_titrated: ArrayLike,
    *,
    constants: Constants = DEFAULT,
    **totals: ArrayLike,
) -> Inversion:
    """The water that a test of pH and titrated alkalinity (eq/kg) describes.

    Args:
        temperature: degC. ph: at that temperature. totals: the other components, mol/kg; sodium closes the charge.
    """
    wanted = np.asarray(alkalinity_titrated, dtype=float)
    bare = _wide(Water.of(temperature, **totals), ph, wanted)
    alkalinity = np.broadcast_to(wanted, bare.shape)
    for _ in range(_ROUNDS):
        found = solve_pair(bare, ph=ph, alkalinity=alkalinity, constants=constants)
        gap = wanted - titrated_alkalinity(found.water, constants)
        if np.abs(gap[found.possible]).max(initial=0.0) < 1e-11:
            break
        alkalinity = alkalinity + np.where(found.possible, gap, 0.0)
    return found


def titrated_alkalinity(water: Water | Equilibrium, constants: Constants = DEFAULT) -> Array:
    """Acid to pH 4.5 without loss of CO2, halogen destroyed first, eq/kg."""
    sample = water.water if isinstance(water, Equilibrium) else water
    solution = water if isinstance(water, Equilibrium) else equilibrate(water, constants)
    zero = np.zeros(sample.shape)
    quenched = sample.replaced(bromine=zero, chlorine=zero)
    _, _, left = solved(quenched, solution.constants, Given.CARBONATE_PH, _END_POINT)
    hypohalites = solution.species("OBr-") + solution.species("OCl-")
    value: Array = sample.alkalinity - hypohalites - left
    return value


def alkalinity_parts(solution: Equilibrium) -> dict[str, Array]:
    """What the alkalinity consists of, eq/kg; hydrogen and bisulfate count below zero. The sum is the alkalinity."""
    s = solution.species
    once = sum((s(n) for n in ("HCO3-", "CaHCO3+", "MgHCO3+", "NaHCO3")), np.zeros(solution.water.shape))
    twice = sum((s(n) for n in ("CO3--", "CaCO3", "MgCO3", "NaCO3-")), np.zeros(solution.water.shape))
    cyanurate = s("H2Cy-") + s("HClCy-") + s("Cl2Cy-") + 2.0 * (s("HCy--") + s("ClCy--")) + 3.0 * s("Cy---")
    return {
        "carbonate": once + 2.0 * twice,
        "borate": s("B(OH)4-") + s("CaB(OH)4+"),
        "cyanurate": cyanurate,
        "hydantoin": s("DMH-"),
        "hypohalites": s("OBr-") + s("OCl-"),
        "ammonia": s("NH3"),
        "hydroxide": s("OH-") + s("MgOH+"),
        "hydrogen": -s("H+") - s("HSO4-"),
    }


def _wide(water: Water, *others: ArrayLike) -> Water:
    """The water broadcast to the common shape."""
    shape = np.broadcast_shapes(water.shape, *(np.shape(o) for o in others))
    totals = np.broadcast_to(_aligned(water.totals, len(shape)), (len(STRONG_CHARGE), *shape))
    return Water(np.broadcast_to(water.temperature, shape), totals)


def _aligned(totals: Array, dimensions: int) -> Array:
    """Totals with unit axes after the first, so that the shape S broadcasts from the right."""
    missing = dimensions - (totals.ndim - 1)
    return totals.reshape((totals.shape[0], *([1] * missing), *totals.shape[1:]))
