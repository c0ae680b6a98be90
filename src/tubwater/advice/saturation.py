"""Water that lays down lime, or takes it: said where the believed waters agree on it.

The saturation index of calcite follows from activities (a calculation); from where on it matters is a judgement.
"""

from __future__ import annotations

from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from tubwater.advice.beside import Beside
from tubwater.advice.now import Situation
from tubwater.facts import Basis, BasisKind
from tubwater.tub import Reason

__all__ = ["CORROSIVE", "SCALING", "Lime", "lime_of", "lime_told"]

Array = NDArray[np.float64]
SCALING, CORROSIVE = 0.3, -0.5  # calcite saturation index from which on water scales, and takes lime (judgement)
_SURE = 0.8  # of the believed waters (judgement)
_BASIS = Basis(BasisKind.JUDGEMENT, (), "the index is calculated from activities; from where on it matters is judged")


class Lime(StrEnum):
    """What the water does with lime, as far as the believed waters agree on it."""

    LAID_DOWN = "laid down"
    RATHER_LAID_DOWN = "rather laid down"
    TAKEN = "taken"
    RATHER_TAKEN = "rather taken"
    LEFT = "left"


def lime_of(index: Array) -> Lime:
    """From the saturation index of calcite of each member: sure where four of five agree, rather so where half do."""
    down, taken = float(np.mean(index > SCALING)), float(np.mean(index < CORROSIVE))
    if max(down, taken) < 0.5:
        return Lime.LEFT
    if down > taken:
        return Lime.LAID_DOWN if down >= _SURE else Lime.RATHER_LAID_DOWN
    return Lime.TAKEN if taken >= _SURE else Lime.RATHER_TAKEN


def lime_told(case: Situation, after: Beside) -> tuple[Reason, ...]:
    """That the water as it is lays down lime or takes it, with the index now and once the plan is done."""
    now: Array = np.asarray(case.observer.solved.si_calcite)
    values = {"now": float(np.median(now)), "then": float(np.median(after.calcite()))}
    lime = lime_of(now)
    if lime is Lime.LAID_DOWN:
        return (Reason("lays-down-lime", {**values, "limit": SCALING}, _BASIS),)
    if lime is Lime.TAKEN:
        return (Reason("takes-lime", {**values, "limit": CORROSIVE}, _BASIS),)
    return ()
