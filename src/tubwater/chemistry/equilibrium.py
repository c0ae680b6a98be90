"""The equilibrium of a water: pH, species, activities, carbon dioxide pressure, buffering and saturation."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tubwater.chemistry import constants as c
from tubwater.chemistry.activity import Gammas, gammas
from tubwater.chemistry.solve import Species, block_of, solve
from tubwater.chemistry.water import COMPONENTS, INDEX, Water
from tubwater.errors import ChemistryError

__all__ = ["Equilibrium", "at_pco2", "equilibrate", "water_at_ph"]

Array = NDArray[np.float64]
_BLOCK = 2000
_CONVERGED = 1e-8
_CARBONATES = ("CO2", "HCO3-", "CO3--", "CaHCO3+", "MgHCO3+", "NaHCO3", "NaCO3-", "CaCO3", "MgCO3")


@dataclass(frozen=True, eq=False)
class Equilibrium:
    """A solved water; arrays of the water's shape S.

    Attributes:
        water: what was solved. constants: with which constants.
        ph: -log10 of the hydrogen ion activity. ionic_strength: mol/kg.
        pco2: partial pressure of carbon dioxide, atm. buffer_intensity: eq/kg per pH, closed.
        residual: what is left of the alkalinity balance, eq/kg. converged: whether the solve ended.
        in_range: 5-45 degC, ionic strength up to 0.1, pH 4-11: inside the validity of the constants.
    """

    water: Water
    constants: c.Constants
    ph: Array
    ionic_strength: Array
    pco2: Array
    buffer_intensity: Array
    residual: Array
    converged: NDArray[np.bool_]
    in_range: NDArray[np.bool_]
    concentrations: dict[str, Array]
    gammas: Gammas

    def species(self, name: str) -> Array:
        """Concentration of a species, mol/kg; zero where its component is absent."""
        return self.concentrations.get(name, np.zeros(self.water.shape))

    @property
    def si_calcite(self) -> Array:
        """Saturation index of calcite, log10 of the ion activity product over its constant."""
        return self._carbonate_index(c.log_k_calcite(self.water.temperature))

    @property
    def si_aragonite(self) -> Array:
        """Saturation index of aragonite."""
        return self._carbonate_index(c.log_k_aragonite(self.water.temperature))

    @property
    def si_gypsum(self) -> Array:
        """Saturation index of gypsum."""
        product = self.species("Ca++") * self.gammas.calcium * self.species("SO4--") * self.gammas.sulfate
        return _log10(product) - c.log_k_gypsum(self.water.temperature)

    def _carbonate_index(self, log_k: Array) -> Array:
        product = self.species("Ca++") * self.gammas.calcium * self.species("CO3--") * self.gammas.carbonate
        return _log10(product) - log_k


def equilibrate(water: Water, constants: c.Constants = c.DEFAULT, start_ph: ArrayLike = 7.5) -> Equilibrium:
    """Solve a water.

    Args:
        water: any shape S. constants: choices between sources. start_ph: where to begin, broadcast to S.
    Raises:
        ChemistryError: a total is negative or not finite.
    """
    solved, totals = _run(water, constants, start_ph)
    return _packed(Water(water.temperature, totals), constants, solved)


def at_pco2(water: Water, pco2: ArrayLike, constants: c.Constants = c.DEFAULT, start_ph: ArrayLike = 8.0) -> Water:
    """The water with the carbonate it holds in equilibrium with ``pco2`` (atm); alkalinity untouched."""
    _, totals = _run(water, constants, start_ph, pco2=pco2)
    return Water(water.temperature, totals)


def water_at_ph(water: Water, ph: ArrayLike, constants: c.Constants = c.DEFAULT) -> Water:
    """The water with the carbonate that gives it ``ph`` at its alkalinity.

    A total below zero says that no carbonate does: the caller tests ``carbonate >= 0``.
    """
    _, totals = _run(water, constants, ph, hold_ph=True)
    return Water(water.temperature, totals)


def _run(
    water: Water, constants: c.Constants, start_ph: ArrayLike, pco2: ArrayLike | None = None, hold_ph: bool = False
) -> tuple[dict[str, Array], Array]:
    """Solve in blocks; returns flat arrays by name and the totals with the carbonate that was found."""
    _refuse_impossible(water)
    celsius = water.temperature.reshape(-1)
    totals = water.totals.reshape(len(COMPONENTS), -1).copy()
    ph = np.broadcast_to(np.asarray(start_ph, float), water.shape).reshape(-1)
    gas = None if pco2 is None else np.broadcast_to(np.asarray(pco2, float), water.shape).reshape(-1)
    parts: list[dict[str, Array]] = []
    for begin in range(0, max(celsius.size, 1), _BLOCK):
        cut = slice(begin, begin + _BLOCK)
        block = block_of(celsius[cut], totals[:, cut], constants)
        now = solve(block, ph[cut], None if gas is None else gas[cut], hold_ph)
        if gas is not None or hold_ph:
            totals[INDEX["carbonate"], cut] = sum(now.conc[name] for name in _CARBONATES if name in now.conc)
        parts.append(_flat(now, block.henry))
    names = {name for part in parts for name in part}
    joined = {
        name: np.concatenate([p.get(name, np.zeros(p["ph"].size)) for p in parts]).reshape(water.shape) for name in names
    }
    return joined, totals.reshape(water.totals.shape)


def _flat(now: Species, henry: Array) -> dict[str, Array]:
    assert now.gamma is not None
    names = {"calcium": "Ca++", "magnesium": "Mg++", "sodium": "Na+", "potassium": "K+", "sulfate": "SO4--"}
    return {
        **now.conc,
        **{names[key]: value for key, value in now.free.items()},
        "ph": now.ph,
        "strength": now.ionic_strength,
        "slope": now.slope,
        "residual": now.residual,
        "change": now.change,
        "pco2": now.conc["CO2"] * now.gamma.co2 / henry,
    }


def _packed(water: Water, constants: c.Constants, flat: dict[str, Array]) -> Equilibrium:
    a, b = c.debye_hueckel(water.temperature)
    ph, strength = flat.pop("ph"), flat.pop("strength")
    valid = (water.temperature >= 5) & (water.temperature <= 45) & (strength <= 0.1) & (ph >= 4) & (ph <= 11)
    return Equilibrium(
        water=water,
        constants=constants,
        ph=ph,
        ionic_strength=strength,
        pco2=flat.pop("pco2"),
        buffer_intensity=flat.pop("slope"),
        residual=flat.pop("residual"),
        converged=flat.pop("change") < _CONVERGED,
        in_range=valid,
        concentrations=flat,
        gammas=gammas(strength, a, b),
    )


def _refuse_impossible(water: Water) -> None:
    if not (np.isfinite(water.totals).all() and np.isfinite(water.temperature).all()):
        raise ChemistryError("a water has totals or a temperature that are not finite")
    if (water.totals < 0.0).any():
        where = np.argwhere((water.totals < 0.0).reshape(len(COMPONENTS), -1).any(axis=1))[0, 0]
        raise ChemistryError(f"the total of {COMPONENTS[where]} is below zero")


def _log10(value: Array) -> Array:
    result: Array = np.log10(np.maximum(value, 1e-300))
    return result
