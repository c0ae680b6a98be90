"""Litres of a tub from what its keeper can measure, with the spread that these data earn."""

from __future__ import annotations

import math
from dataclasses import dataclass

from tubwater.errors import InputError
from tubwater.facts import Basis, defaults
from tubwater.tub import VolumeBasis

__all__ = ["Litres", "by_hose", "by_meter", "by_plate", "by_rectangle", "by_round"]


@dataclass(frozen=True)
class Litres:
    """Litres (L, the middle), how they are known, and where they lie nine times in ten."""

    litres: float
    basis: VolumeBasis
    low: float
    high: float
    why: Basis


def by_meter(before: float, after: float) -> Litres:
    """From a water meter before and after the fill, both in L.

    Raises:
        InputError: the second is not above the first.
    """
    if after <= before:
        raise InputError.one("after", f"{after:g}", "more than before the fill")
    return _known(after - before, VolumeBasis.METERED)


def by_hose(bucket: float, seconds: float, minutes: float) -> Litres:
    """From a bucket (L) that a hose fills in some seconds, and the minutes that the tub takes."""
    _positive(bucket=bucket, seconds=seconds, minutes=minutes)
    return _known(bucket / seconds * 60.0 * minutes, VolumeBasis.SHAPE)


def by_round(diameter: float, depth: float, seats: float = 0.0) -> Litres:
    """From the inner diameter and the depth of the water of a round tub, in m; ``seats`` is their share of it."""
    _positive(diameter=diameter, depth=depth)
    return _known(math.pi / 4.0 * diameter**2 * depth * 1000.0 * (1.0 - _share(seats)), VolumeBasis.SHAPE)


def by_rectangle(length: float, width: float, depth: float, seats: float = 0.0) -> Litres:
    """From the inner length, width and depth of the water, in m; ``seats`` is the share that seats take."""
    _positive(length=length, width=width, depth=depth)
    return _known(length * width * depth * 1000.0 * (1.0 - _share(seats)), VolumeBasis.SHAPE)


def by_plate(litres: float) -> Litres:
    """From the plate, which often states the tub filled to the brim."""
    _positive(litres=litres)
    return _known(litres, VolumeBasis.PLATE)


def _share(seats: float) -> float:
    if not 0.0 <= seats <= 0.7:
        raise InputError.one("seats", f"{seats:g}", "a share from 0 to 70 %")
    return seats


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0.0):
            raise InputError.one(name, f"{value:g}", "a number above zero")


def _known(litres: float, basis: VolumeBasis) -> Litres:
    """The same prior as a tub of this basis gets."""
    found = defaults()[f"volume_factor_{basis}"]
    middle = litres * found.value
    reach = math.exp(1.6449 * found.spread)
    return Litres(litres, basis, middle / reach, middle * reach, found.basis)
