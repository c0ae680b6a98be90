"""The reference code as an oracle: pH and saturation by charge balance from component totals."""

from __future__ import annotations

import numpy as np
import phreeqc

from tubwater.chemistry import Water
from tubwater.chemistry.water import INDEX

DATABASE = "phreeqc.dat"
ELEMENTS = {
    "C(4)": "carbonate",
    "Ca": "calcium",
    "Mg": "magnesium",
    "Na": "sodium",
    "K": "potassium",
    "Cl": "chloride",
    "S(6)": "sulfate",
    "B": "borate",
    "Br": "bromide",
    "Brx": "bromine",
}
BROMINE = """SOLUTION_MASTER_SPECIES
 Brx HBrxO 0 79.904 79.904
SOLUTION_SPECIES
 HBrxO = HBrxO
  log_k 0
 HBrxO = BrxO- + H+
  log_k -8.65
  delta_h 18.9 kJ
END
"""
# The default constants of the project in the words of the reference: Plummer & Busenberg 1982 and the pairs of the
# older database; the pairs that the project leaves out are switched off.
DEFAULT_CONSTANTS = """SOLUTION_SPECIES
 Ca+2 + HCO3- = CaHCO3+
  -analytic 1209.120 0.31294 -34765.05 -478.782
 Mg+2 + SO4-2 = MgSO4
  log_k 2.37
  delta_h 4.55 kcal
 SO4-2 + MgSO4 = Mg(SO4)2-2
  log_k -20
 Na+ + SO4-2 = NaSO4-
  log_k 0.70
  delta_h 1.12 kcal
 Na+ + HCO3- = NaHCO3
  log_k -0.25
  delta_h -1 kcal
 K+ + SO4-2 = KSO4-
  -analytic 3.106 0 -673.6
 K+ + HCO3- = KHCO3
  log_k -20
PHASES
Calcite
 CaCO3 = CO3-2 + Ca+2
  -analytic -171.9065 -0.077993 2839.319 71.595
END
"""
PUNCH = """SELECTED_OUTPUT 1
 -reset false
 -high_precision true
USER_PUNCH 1
 -headings pH SI
 -start
 10 PUNCH -LA("H+"), SI("Calcite")
 -end
END
"""


def reference(own_constants: bool) -> phreeqc.Phreeqc:
    """An engine with its own database, or with the project's default constants put into it."""
    engine = phreeqc.Phreeqc()
    assert engine.LoadBuiltInDatabase(DATABASE) == 0
    assert engine.RunString(BROMINE) == 0, engine.GetErrorString()
    if not own_constants:
        assert engine.RunString(DEFAULT_CONSTANTS) == 0, engine.GetErrorString()
    assert engine.RunString(PUNCH) == 0, engine.GetErrorString()
    return engine


def script(water: Water, start_ph: np.ndarray) -> str:
    """All waters of a flat array as one run, pH by charge balance."""
    totals = {element: water.totals[INDEX[name]] for element, name in ELEMENTS.items()}
    kept = [(e, row) for e, row in totals.items() if row.any()]
    head = "SOLUTION_SPREAD\n -units mol/kgw\n"
    head += "\t".join(["Number", "temp", "pH", *(e for e, _ in kept)]) + "\n"
    head += "\t".join(["", "", "charge", *("" for _ in kept)]) + "\n"
    lines = (
        "\t".join(
            [str(i + 1), repr(float(water.temperature[i])), f"{start_ph[i]:.2f}", *(repr(float(r[i])) for _, r in kept)]
        )
        for i in range(water.temperature.size)
    )
    return head + "\n".join(lines) + "\nEND\n"


def solve(engine: phreeqc.Phreeqc, text: str) -> tuple[np.ndarray, np.ndarray]:
    """pH and saturation index of calcite of each water of a script."""
    assert engine.RunString(text) == 0, engine.GetErrorString()
    out = engine.GetSelectedOutput()
    return np.array(out["pH"], dtype=float), np.array(out["SI"], dtype=float)
