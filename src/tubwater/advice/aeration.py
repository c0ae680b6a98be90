"""Air through the jets: carbon dioxide leaves, so the pH climbs while the alkalinity stays as it is.

Acid and air together take alkalinity away without leaving the pH low. The minutes follow from the gas exchange
of the dynamics with air and jets on, at the middle of the believed tubs.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tubwater.advice.beside import Beside
from tubwater.advice.safety import SCALE_HIGH
from tubwater.dynamics import Mode, TubState, advance
from tubwater.tub import Equipment

__all__ = ["MOST_MINUTES", "aerated", "air_helps", "air_minutes", "has_air"]

MOST_MINUTES = 90.0  # in one go: an adult stays beside the open tub (judgement)
_STEP = 5.0  # min, what a plan names


def has_air(equipment: Equipment) -> bool:
    """Whether the tub can drive carbon dioxide out by air."""
    return equipment.air_jets


def aerated(beside: Beside, state: TubState, minutes: float) -> TubState:
    """The state after ``minutes`` with air and jets on and the cover off."""
    moved = advance(state, beside.rates, minutes / 60.0, Mode.SOAKING, beside.products.tablet)
    return replace(moved, ph=beside.observer(moved).solved.ph)


def air_minutes(beside: Beside, goal: float, most: float = MOST_MINUTES, scale_most: float = SCALE_HIGH) -> float:
    """Minutes of air at which the middle of the believed pH reaches ``goal``.

    ``scale_most`` is the saturation index that 19 of 20 waters stay below; where they are above it already, they may
    not climb further.

    Returns:
        A multiple of five minutes, at most ``most``; 0 where the pH is there already, or air does not help.
    """
    if not air_helps(beside, goal, most):
        return 0.0
    top = max(scale_most, _scale(beside, beside.state)) + 1e-3
    found = 0.0
    while found < most:
        after = aerated(beside, beside.state, found + _STEP)
        if _scale(beside, after) > top:
            break
        found += _STEP
        if float(np.median(after.ph)) >= goal:
            break
    return found


def air_helps(beside: Beside, goal: float, most: float = MOST_MINUTES) -> bool:
    """Whether ``most`` minutes of air bring the middle of the believed pH at least a tenth of the way to ``goal``;
    where they do not, carbon dioxide is not what keeps it low."""
    now = float(np.median(beside.ph()))
    return now < goal and float(np.median(aerated(beside, beside.state, most).ph)) - now >= 0.1 * (goal - now)


def _scale(beside: Beside, state: TubState) -> float:
    return float(np.quantile(beside.calcite(state), 0.95))
