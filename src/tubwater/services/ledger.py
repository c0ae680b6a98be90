"""What has built up in a tub, by when its water is worn out, and what a partial change would do."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from tubwater.advice.ledger import Built, DrainDate, Ledger, Spread, WaterChange, ledger_of, remaining, water_change
from tubwater.services.advise import case_of
from tubwater.services.tubfile import TubFile
from tubwater.tub import Event, Shelf, Tub

__all__ = [
    "Built",
    "DrainDate",
    "Ledger",
    "Spread",
    "WaterChange",
    "ledger_for",
    "ledger_of",
    "ledger_of_file",
    "remaining",
    "water_change",
    "water_change_for",
]


def ledger_for(tub: Tub, shelf: Shelf, events: Sequence[Event], now: datetime, seed: int = 0) -> Ledger:
    """The ledger at ``now`` (aware datetime)."""
    return ledger_of(case_of(tub, shelf, events, now, seed))


def water_change_for(
    tub: Tub, shelf: Shelf, events: Sequence[Event], now: datetime, litres: float, steps: int = 1, seed: int = 0
) -> WaterChange:
    """What letting out ``litres`` and filling up again would do, ``steps`` times."""
    return water_change(case_of(tub, shelf, events, now, seed), litres, steps)


def ledger_of_file(
    file: TubFile, now: datetime, litres: float | None = None, seed: int = 0
) -> tuple[Ledger, WaterChange | None]:
    """The ledger of a keeper's file, and what a change of ``litres`` would do where any are asked about."""
    case = case_of(file.tub, file.shelf, file.events, now, seed)
    return ledger_of(case), water_change(case, litres) if litres else None
