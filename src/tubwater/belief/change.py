"""What changed about a tub: a rate that is another than some weeks ago, told when it is likely enough."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from tubwater.belief.history import Happening, Slot
from tubwater.belief.life import drift_of
from tubwater.belief.prior import DRIFTING

__all__ = ["TOLD", "Change", "ChangeKind", "shifts"]

Array = NDArray[np.float64]
TOLD = 0.8  # probability from which on a change is told (judgement)
_SHIFT = float(np.log(1.6))  # a factor that ordinary drift passes in a month once in seven (judgement)


class ChangeKind(StrEnum):
    """What may have changed at a tub; the direction is that of the rate."""

    LEAK = "leak"
    IDLE_LOSS = "idle loss"  # up: filter, biofilm, a lamp; down: cleaned
    COVER = "cover"  # gas exchange with the cover on; down: a tighter one
    JETS = "jets"
    BATHERS = "bathers"
    FEEDER = "feeder"


@dataclass(frozen=True)
class Change:
    """Something that changed. ``direction``: 1 up, -1 down. ``by``: when at the latest."""

    kind: ChangeKind
    direction: int
    probability: float
    by: datetime


_KINDS = {
    "idle_decay_per_day": ChangeKind.IDLE_LOSS,
    "kla_covered_per_h": ChangeKind.COVER,
    "kla_air_jets_per_h": ChangeKind.JETS,
    "bather_demand_g_br2_per_hour": ChangeKind.BATHERS,
    "tablet_release_g_per_day": ChangeKind.FEEDER,
}


def shifts(window: Sequence[Happening], noise: Array, told: float = TOLD) -> tuple[Change, ...]:
    """Rates that moved by more than ordinary drift does in the course of a window.

    Whether it was one jump or several half weeks of drift the readings seldom say; that the rate is another they do.

    Args:
        noise: normal numbers (rows, N) that stand for the happenings of the window, in order.
    """
    row, slots = 0, []
    for happening in window:
        if happening.what is Slot.DRIFT and row + happening.draws <= noise.shape[0]:
            slots.append((happening.at, drift_of(noise[row : row + happening.draws])))
        row += happening.draws
    if not slots:
        return ()
    found = [_shift(i, name, way, slots) for i, name in enumerate(DRIFTING) if name in _KINDS for way in (1, -1)]
    return tuple(change for change in found if change.probability >= told)


def _shift(index: int, name: str, way: int, slots: list[tuple[datetime, Array]]) -> Change:
    moves = way * np.stack([moved[index] for _, moved in slots])
    latest = slots[int(np.argmax(moves.mean(axis=1)))][0]
    return Change(_KINDS[name], way, float(np.mean(moves.sum(axis=0) > _SHIFT)), latest)
