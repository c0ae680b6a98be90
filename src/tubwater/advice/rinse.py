"""What is left of the old water after a drain, and how many rinses bring it down.

Pipes, pump and heater keep some of the water.  Bromide that stays turns chlorine into bromine at once and by mole
(hypochlorous acid and bromide; Kumar & Margerum 1987, from memory), and is not used up by it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tubwater.advice.now import Situation
from tubwater.belief import Observer
from tubwater.chemistry import MG_PER_MOL, kg_water_per_litre
from tubwater.facts import Basis, BasisKind, defaults
from tubwater.facts.purposes import Purpose
from tubwater.facts.quantity import Quantity
from tubwater.facts.situations import Deed
from tubwater.tub import Reason, Step

__all__ = ["Rinsing", "rinsing", "told_rinse"]

_CAUTIOUS = 0.95  # of the believed tubs hold less (judgement)
_MOST = 3  # rinses; more is a matter of the pipes, not of the water (judgement)
_MINUTES = 10.0  # that the pump runs in a rinse (judgement)
_CL2_PER_BROMIDE = 70.906 / 79.904  # by mole: mg of chlorine, as Cl2, that a mg of bromide turns into bromine
_WHY = "rinse-carries-off"
_CALCULATED = Basis(BasisKind.CALCULATION, (), "dilution by what a drain leaves in the pipes, a judgement")


@dataclass(frozen=True)
class Rinsing:
    """The rinses as steps, and what is said of them."""

    deeds: tuple[Deed, ...] = ()
    reason: Reason | None = None


def rinsing(case: Situation, purpose: Purpose) -> Rinsing:
    """As many rinses as bring what is left below what the purpose allows; none where little was in, or is not known."""
    if purpose.rinse is None:
        return Rinsing()
    share, present = defaults()["left_by_a_drain"].value, _present(case, purpose.rinse.of)
    count = next((n for n in range(_MOST) if present * share ** (n + 1) <= purpose.rinse.most), _MOST)
    left = present * share
    values: dict[str, float | str] = {"present": present, "left": left, "after": left * share**count}
    if purpose.rinse.of == "bromide":
        values["chlorine"] = left * _CL2_PER_BROMIDE
    return Rinsing(_deeds(case) * count, Reason(f"{_WHY}-{purpose.rinse.of.replace(' ', '-')}", values, _CALCULATED))


def told_rinse(step: Step, rinse: Rinsing) -> Step:
    """The step with what is left in numbers."""
    reasons = tuple(rinse.reason if r.kind == _WHY and rinse.reason else r for r in step.reasons)
    return replace(step, reasons=reasons)


def _present(case: Situation, name: str) -> float:
    """What the water holds, mg/L, at the cautious end of what is believed."""
    water = case.state.water
    if name == "bromide":
        found = (water.bromide + water.bromine) * MG_PER_MOL["bromide"] * 1e3 * kg_water_per_litre(water)
    else:
        found = Observer(case.state).read(Quantity(name))
    return float(np.quantile(found, _CAUTIOUS))


def _deeds(case: Situation) -> tuple[Deed, ...]:
    pump = case.tub.equipment.pump
    full = ("power-when-full",) if pump else ("fire-when-full",)
    return (
        Deed("fill", _WHY, "", 0.0, full, _CALCULATED, all_water=True),
        Deed("check", "", "run-the-rinse" if pump else "stir-the-rinse", _MINUTES, (), _CALCULATED),
        Deed("drain", "", "", 0.0, ("electric-off", "drain-where-allowed"), _CALCULATED, all_water=True),
    )
