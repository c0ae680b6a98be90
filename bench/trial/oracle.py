"""The water chemistry of the hidden tubs: the reference code's own database and constants, none of the project's.

One call solves the full equilibrium by charge balance and gives the conditional constants of that very water
(pairs and activities inside them). With those a whole batch of nearly the same waters is solved in closed form.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import phreeqc
from numpy.typing import NDArray

__all__ = ["Constants", "Oracle"]

Array = NDArray[np.float64]
_BROMINE = """SOLUTION_MASTER_SPECIES
 Brx HBrxO 0 79.904 79.904
SOLUTION_SPECIES
 HBrxO = HBrxO
  log_k 0
 HBrxO = BrxO- + H+
  log_k -8.65
  delta_h 18.9 kJ
END
"""
_SPECIES = {
    "co2": 'MOL("CO2")',
    "bicarbonate": 'MOL("HCO3-")+MOL("CaHCO3+")+MOL("MgHCO3+")+MOL("NaHCO3")',
    "carbonate": 'MOL("CO3-2")+MOL("CaCO3")+MOL("MgCO3")+MOL("NaCO3-")',
    "hydroxide": 'MOL("OH-")+MOL("CaOH+")+MOL("MgOH+")',
    "hypobromite": 'MOL("BrxO-")',
    "hypobromous": 'MOL("HBrxO")',
}
_PUNCH = f"""SELECTED_OUTPUT 1
 -reset false
 -high_precision true
USER_PUNCH 1
 -headings pH calcite gas {" ".join(_SPECIES)}
 -start
 10 PUNCH -LA("H+"), SI("Calcite"), SI("CO2(g)"), {", ".join(_SPECIES.values())}
 -end
END
"""
_TINY = 1e-12


@dataclass(frozen=True)
class Constants:
    """Conditional constants of one water, by its hydrogen ion activity h; mol/kg.

    Attributes:
        first, second: bicarbonate h / CO2, carbonate h / bicarbonate, pairs included. water: hydroxide h.
        hypobromous: OBr- h / HOBr. solubility: CO2 per atm. calcite: index less log10(carbonate calcium).
        ph: of the water they were taken from.
    """

    first: float
    second: float
    water: float
    hypobromous: float
    solubility: float
    calcite: float
    ph: float

    def solve(self, alkalinity: Array, carbon: Array, bromine: Array, start: Array, rounds: int = 5) -> Array:
        """pH of a batch by Newton in ln h, from strong-ion alkalinity (eq/kg) and totals (mol/kg)."""
        x = -np.log(10.0) * start
        for _ in range(rounds):
            h = np.exp(x)
            one, two = self.first / h, self.first * self.second / h**2
            whole = 1.0 + one + two
            hypo = bromine * self.hypobromous / (self.hypobromous + h)
            value = carbon * (one + 2.0 * two) / whole + self.water / h + hypo - h - alkalinity
            slope = carbon * (one + 4.0 * two + one * two) / whole**2 + self.water / h + h
            slope = slope + hypo * h / (self.hypobromous + h)
            x = x + np.clip(value / slope, -2.0, 2.0)
        return np.asarray(-x / np.log(10.0))

    def shares(self, ph: Array) -> tuple[Array, Array]:
        """Shares of the carbonate total that are CO2 and carbonate."""
        h = 10.0**-ph
        one, two = self.first / h, self.first * self.second / h**2
        whole = 1.0 + one + two
        return 1.0 / whole, two / whole

    def index(self, ph: Array, carbon: Array, calcium: Array) -> Array:
        """Saturation index of calcite."""
        product = self.shares(ph)[1] * carbon * calcium
        return np.asarray(self.calcite + np.log10(np.maximum(product, 1e-30)))

    def carbon_at(self, alkalinity: float, bromine: float, ph: float) -> float:
        """The carbonate total that gives ``ph``, mol/kg."""
        h = 10.0**-ph
        one, two = self.first / h, self.first * self.second / h**2
        hypo = bromine * self.hypobromous / (self.hypobromous + h)
        return (alkalinity - self.water / h - hypo + h) * (1.0 + one + two) / (one + 2.0 * two)


class Oracle:
    """One engine with its own database."""

    def __init__(self) -> None:
        self._engine = phreeqc.Phreeqc()
        assert self._engine.LoadBuiltInDatabase("phreeqc.dat") == 0
        assert self._engine.RunString(_BROMINE + _PUNCH) == 0, self._engine.GetErrorString()
        self.solves = 0

    def constants(self, totals: Mapping[str, float], celsius: float, start: float = 7.5) -> Constants:
        """Solve a water of element totals (mol/kg, names of the database) and take its constants."""
        rows = "\n".join(f" {name} {max(value, _TINY)!r}" for name, value in totals.items())
        text = f"SOLUTION 1\n units mol/kgw\n temp {celsius:.4f}\n pH {start:.3f} charge\n{rows}\nEND\n"
        assert self._engine.RunString(text) == 0, self._engine.GetErrorString()
        self.solves += 1
        found = {name: float(column[-1]) for name, column in self._engine.GetSelectedOutput().items()}
        h = 10.0 ** -found["pH"]
        return Constants(
            first=found["bicarbonate"] * h / found["co2"],
            second=found["carbonate"] * h / found["bicarbonate"],
            water=found["hydroxide"] * h,
            hypobromous=found["hypobromite"] * h / found["hypobromous"],
            solubility=found["co2"] / 10.0 ** found["gas"],
            calcite=found["calcite"] - np.log10(found["carbonate"] * totals["Ca"]),
            ph=found["pH"],
        )
