"""Water that lays down lime, or takes it: said where the believed waters agree on it.

The saturation index of calcite follows from activities (a calculation); from where on it matters is a judgement.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tubwater.advice.beside import Beside
from tubwater.advice.now import Situation
from tubwater.facts import Basis, BasisKind
from tubwater.tub import Reason

__all__ = ["CORROSIVE", "SCALING", "lime_told"]

Array = NDArray[np.float64]
SCALING, CORROSIVE = 0.3, -0.5  # calcite saturation index from which on water scales, and takes lime (judgement)
_SURE = 0.8  # of the believed waters (judgement)
_BASIS = Basis(BasisKind.JUDGEMENT, (), "the index is calculated from activities; from where on it matters is judged")


def lime_told(case: Situation, after: Beside) -> tuple[Reason, ...]:
    """That the water as it is lays down lime or takes it, with the index now and once the plan is done."""
    now: Array = np.asarray(case.observer.solved.si_calcite)
    values = {"now": float(np.median(now)), "then": float(np.median(after.calcite()))}
    if float(np.mean(now > SCALING)) >= _SURE:
        return (Reason("lays-down-lime", {**values, "limit": SCALING}, _BASIS),)
    if float(np.mean(now < CORROSIVE)) >= _SURE:
        return (Reason("takes-lime", {**values, "limit": CORROSIVE}, _BASIS),)
    return ()
