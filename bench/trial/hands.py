"""Eyes and hands of a keeper: what he reads, with noise, lot, rounding and blunders, and what he really puts in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .luck import Household, Luck
from .tank import Tank

__all__ = ["KITS", "Seen", "dose_factor", "read"]


@dataclass(frozen=True)
class Seen:
    """A reading: quantity, value, method, and whether it is on or beyond the end of the scale."""

    quantity: str
    value: float
    method: str
    above: bool = False


@dataclass(frozen=True)
class _Row:
    method: str
    quantity: str
    absolute: float
    relative: float
    steps: tuple[float, ...] = ()
    resolution: float = 0.0
    low: float = 0.0
    high: float = 0.0
    every: int = 1  # tests


KITS: dict[str, tuple[_Row, ...]] = {
    "strip": (
        _Row("strip", "bromine", 1.0, 0.3, (0.0, 1.0, 2.0, 3.0, 5.0, 10.0)),
        _Row("strip", "pH", 0.3, 0.0, (6.8, 7.2, 7.5, 7.8, 8.4)),
        _Row("strip", "total alkalinity", 25.0, 0.0, (0.0, 40.0, 80.0, 120.0, 180.0, 240.0)),
        _Row("strip", "total hardness", 75.0, 0.0, (0.0, 100.0, 250.0, 500.0), every=4),
    ),
    "kit": (
        _Row("fas-dpd-drops", "bromine", 0.23, 0.04, resolution=0.45, low=0.0, high=45.0),
        _Row("visual-comparator", "pH", 0.15, 0.0, resolution=0.2, low=7.0, high=8.0),
        _Row("drop-titration", "total alkalinity", 6.0, 0.03, resolution=10.0, low=0.0, high=300.0),
        _Row("drop-titration", "calcium hardness", 10.0, 0.03, resolution=10.0, low=0.0, high=800.0, every=4),
    ),
}
_LOOK = _Row("feeder-by-eye", "tablets left", 10.0, 0.0, (0.0, 25.0, 50.0, 75.0, 100.0))
_LOT_HOURS = 24.0 * 70.0  # a bottle of strips or reagent
_BLUNDER = 0.03


def read(
    tank: Tank, kit: str, hour: float, luck: Luck, house: Household, number: int, purpose: str, looks: bool = False
) -> list[Seen]:
    """A test at ``hour``, the ``number``-th of this keeper, and with ``looks`` what is left in a feeder with tablets.

    Noise is keyed by time, so that luck is shared.
    """
    found = []
    for row in KITS[kit]:
        if number % row.every == 0:
            found.append(_one(row, tank, kit, hour, luck, house, purpose))
    if looks and float(tank.count[0]) > 0.5:
        found.append(_one(_LOOK, tank, kit, hour, luck, house, purpose))
    return found


def _one(row: _Row, tank: Tank, kit: str, hour: float, luck: Luck, house: Household, purpose: str) -> Seen:
    g = luck.at(f"{purpose} {kit} {row.quantity}", hour)
    lot = float(luck.at(f"lot {kit} {row.quantity} {int(hour // _LOT_HOURS)}").standard_normal())
    truth = _truth(row.quantity, tank)
    sigma = (
        max(row.absolute, row.relative * abs(truth))
        if row.steps
        else float(np.hypot(row.absolute, row.relative * truth))
    )
    noise = float(g.standard_normal() * 0.85 + 0.5 * lot) * house.eye
    value = truth + sigma * noise
    if g.random() < _BLUNDER:
        ends = (row.steps[0], row.steps[-1]) if row.steps else (row.low, min(row.high, 3.0 * max(truth, 1.0)))
        value = float(g.uniform(*ends))
    return Seen(row.quantity, _printed(row, value), row.method)


def _truth(quantity: str, tank: Tank) -> float:
    if quantity == "bromine":
        return float(tank.bromine[0] + tank.monopersulfate[0])  # a total test sees both
    if quantity == "pH":
        return float(tank.ph[0]) + (0.6 if tank.bromine[0] > 10.0 else 0.0)  # the dye turns purple
    if quantity == "tablets left":
        return 100.0 * float(tank.grams[0]) / (20.0 * float(tank.count[0]))
    if quantity == "total alkalinity":
        return float(tank.alkalinity[0])
    return float(tank.hardness[0] if quantity == "total hardness" else tank.calcium[0])


def _printed(row: _Row, value: float) -> float:
    if row.steps:
        return min(row.steps, key=lambda step: abs(step - value))
    return float(np.clip(round(value / row.resolution) * row.resolution, row.low, row.high))


def dose_factor(luck: Luck, house: Household, substance: str, hour: float) -> float:
    """What goes in over what was meant: the scoop's lasting error, the hand, now and then twice or not at all."""
    g = luck.at(f"dose {substance}", hour)
    factor = house.scoop[substance] * float(np.exp(house.hand * g.standard_normal()))
    slip = g.random()
    return factor * (2.0 if slip < 0.01 else 0.0 if slip < 0.02 else 1.0)
