"""The equilibrium of a water: pH, species, activities, carbon dioxide pressure, buffering and saturation."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tubwater.chemistry import constants as c
from tubwater.chemistry.activity import Gammas, gammas
from tubwater.chemistry.solve import TOLERANCE, solve
from tubwater.chemistry.species import concentrations
from tubwater.chemistry.state import Given, State
from tubwater.chemistry.water import COMPONENTS, Water
from tubwater.errors import ChemistryError

__all__ = ["COARSE", "Equilibrium", "at_pco2", "equilibrate", "solved"]

Array = NDArray[np.float64]
_BLOCK = 6000
_CONVERGED = 2e-9
COARSE = 1e-6  # a tolerance, of pH: finer than any reading tells, and than what a frozen buffer costs
_NAMES = (
    "ph",
    "ionic_strength",
    "pco2",
    "buffer_intensity",
    "residual",
    "change",
    "log_omega",
    "carbonate",
    "alkalinity",
)


@dataclass(frozen=True, eq=False)
class Equilibrium:
    """A solved water; arrays of the water's shape S.

    Attributes:
        water: what was solved. constants: with which constants.
        ph: -log10 of the hydrogen ion activity. ionic_strength: mol/kg.
        pco2: partial pressure of carbon dioxide, atm. buffer_intensity: eq/kg per pH, closed to the air.
        residual: alkalinity of the species less that of the strong ions, eq/kg.
        converged: whether pH, ionic strength and pairs all settled (2e-9).
        in_range: 5-45 degC, ionic strength up to 0.1, pH 4-11: inside the validity of the constants.
        si_calcite: saturation index of calcite, log10 of the ion activity product over its constant.
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
    si_calcite: Array
    _states: tuple[State, ...] = field(repr=False)

    @property
    def pH(self) -> Array:
        """The same as ``ph``."""
        return self.ph

    @cached_property
    def concentrations(self) -> dict[str, Array]:
        """Every species present by name, mol/kg."""
        parts = [concentrations(state) for state in self._states]
        names = {name: None for part in parts for name in part}
        return {name: self._joined([part.get(name) for part in parts]) for name in names}

    def species(self, name: str) -> Array:
        """Concentration of a species, mol/kg; zero where its component is absent."""
        found = self.concentrations.get(name)
        return np.zeros(self.water.shape) if found is None else found

    @cached_property
    def gammas(self) -> Gammas:
        """Activity coefficients."""
        return gammas(self.ionic_strength, *c.debye_hueckel(self.water.temperature))

    @property
    def calcium(self) -> Array:
        """Free calcium, mol/kg."""
        return self.species("Ca++")

    @property
    def magnesium(self) -> Array:
        """Free magnesium, mol/kg."""
        return self.species("Mg++")

    @property
    def si_aragonite(self) -> Array:
        """Saturation index of aragonite."""
        celsius = self.water.temperature
        return self.si_calcite + c.log_k_calcite(celsius, self.constants) - c.log_k_aragonite(celsius)

    @property
    def si_gypsum(self) -> Array:
        """Saturation index of gypsum, the activity of water taken as one."""
        product = self.species("Ca++") * self.gammas.calcium * self.species("SO4--") * self.gammas.sulfate
        return _log10(product) - c.log_k_gypsum(self.water.temperature)

    def _joined(self, parts: list[Array | None]) -> Array:
        sizes = [state.celsius.size for state in self._states]
        whole = [np.zeros(n) if p is None else np.broadcast_to(p, n) for p, n in zip(parts, sizes, strict=True)]
        return np.concatenate(whole).reshape(self.water.shape)


def equilibrate(
    water: Water,
    constants: c.Constants = c.DEFAULT,
    start_ph: ArrayLike | None = None,
    tolerance: float = TOLERANCE,
) -> Equilibrium:
    """Solve a water.

    Args:
        water: any shape S. constants: choices between sources. start_ph: where to begin, broadcast to S.
        tolerance: of the error left in pH, and relative in ionic strength and pairs.
    Raises:
        ChemistryError: a total is negative or not finite.
    """
    return solved(water, constants, Given.ALKALINITY_CARBONATE, start_ph, tolerance=tolerance)[0]


def at_pco2(
    water: Water, pco2: ArrayLike, constants: c.Constants = c.DEFAULT, start_ph: ArrayLike | None = 8.0
) -> Water:
    """The water with the carbonate it holds in equilibrium with ``pco2`` (atm); alkalinity untouched."""
    _, carbonate, _ = solved(water, constants, Given.ALKALINITY_GAS, start_ph, pco2)
    return water.replaced(carbonate=np.maximum(carbonate, 0.0))


def solved(
    water: Water,
    constants: c.Constants,
    given: Given,
    ph: ArrayLike | None = None,
    pco2: ArrayLike | None = None,
    tolerance: float = TOLERANCE,
) -> tuple[Equilibrium, Array, Array]:
    """Solve in blocks; returns the equilibrium, the carbonate total (mol/kg) and the alkalinity (eq/kg) found."""
    _refuse_impossible(water)
    celsius = water.temperature.reshape(-1)
    totals = water.totals.reshape(len(COMPONENTS), -1)
    starts, gas = _flat(ph, water.shape), _flat(pco2, water.shape)
    out = np.empty((len(_NAMES), celsius.size))
    states = []
    for begin in range(0, celsius.size, _BLOCK):
        cut = slice(begin, begin + _BLOCK)
        state = solve(
            celsius[cut],
            totals[:, cut],
            constants,
            given,
            None if starts is None else starts[cut],
            None if gas is None else gas[cut],
            tolerance,
        )
        for row, value in zip(out, _summary(state), strict=True):
            row[cut] = value
        if celsius.size > _BLOCK:
            state.release()
        states.append(state)
    flat = {name: out[i].reshape(water.shape) for i, name in enumerate(_NAMES)}
    return _packed(water, constants, flat, tuple(states)), flat["carbonate"], flat["alkalinity"]


def _flat(value: ArrayLike | None, shape: tuple[int, ...]) -> Array | None:
    return None if value is None else np.broadcast_to(np.asarray(value, float), shape).reshape(-1)


def _summary(state: State) -> list[Array]:
    gas, calcite = state.k[-2:]
    omega = calcite * state.metals[1] * state.co2 * np.square(state.inverse_h)
    return [
        state.ph,
        state.ionic_strength,
        state.co2 * gas,
        state.slope,
        state.alkalinity - state.wanted,
        state.change,
        _log10(omega),
        state.carbonate,
        state.alkalinity,
    ]


def _packed(water: Water, constants: c.Constants, flat: dict[str, Array], states: tuple[State, ...]) -> Equilibrium:
    ph, strength, celsius = flat["ph"], flat["ionic_strength"], water.temperature
    return Equilibrium(
        water=water,
        constants=constants,
        ph=ph,
        ionic_strength=strength,
        pco2=flat["pco2"],
        buffer_intensity=flat["buffer_intensity"],
        residual=flat["residual"],
        converged=flat["change"] < _CONVERGED,
        in_range=(celsius >= 5) & (celsius <= 45) & (strength <= 0.1) & (ph >= 4) & (ph <= 11),
        si_calcite=flat["log_omega"],
        _states=states,
    )


def _refuse_impossible(water: Water) -> None:
    least, most = water.totals.min(initial=0.0), water.totals.max(initial=0.0)  # both nan where a total is
    if not (np.isfinite(least) and np.isfinite(most) and np.isfinite(water.temperature).all()):
        raise ChemistryError("a water has totals or a temperature that are not finite")
    if least < 0.0:
        where = np.argwhere((water.totals < 0.0).reshape(len(COMPONENTS), -1).any(axis=1))[0, 0]
        raise ChemistryError(f"the total of {COMPONENTS[where]} is below zero")


def _log10(value: Array) -> Array:
    result: Array = np.log10(np.maximum(value, 1e-300))
    return result
