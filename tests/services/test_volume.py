"""Litres from a meter, a hose and a bucket, the shape, or the plate, each with the spread that it earns."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest

from tubwater.errors import InputError
from tubwater.services.volume import Litres, by_hose, by_meter, by_plate, by_rectangle, by_round
from tubwater.tub import VolumeBasis


def spread(found: Litres) -> float:
    return math.log(found.high / found.low)


@pytest.mark.parametrize(
    ("found", "litres", "basis"),
    [
        (by_meter(1100.0, 2400.0), 1300.0, VolumeBasis.METERED),
        (by_hose(10.0, 30.0, 65.0), 1300.0, VolumeBasis.SHAPE),  # 20 L a minute for 65 minutes
        (by_rectangle(2.0, 2.0, 0.5, 0.25), 1500.0, VolumeBasis.SHAPE),  # 2 m³, a quarter of it seats
        (by_round(2.0, 0.5), 500.0 * math.pi, VolumeBasis.SHAPE),  # a circle of 1 m radius, half a metre deep
    ],
)
def test_litres_are_those_of_the_arithmetic(found: Litres, litres: float, basis: VolumeBasis) -> None:
    assert found.litres == pytest.approx(litres) and found.basis is basis
    assert found.low < litres < found.high


def test_the_spread_is_only_what_the_data_earn() -> None:
    meter, shape, plate = by_meter(0.0, 1300.0), by_rectangle(2.0, 1.3, 0.5), by_plate(1300.0)
    assert spread(meter) < spread(shape) < spread(plate)


def test_a_plate_often_states_the_brim_so_less_is_likelier_than_more() -> None:
    plate = by_plate(1300.0)
    assert plate.litres == 1300.0 and 1300.0 - plate.low > plate.high - 1300.0


@pytest.mark.parametrize(
    "ask",
    [
        lambda: by_meter(2400.0, 2400.0),
        lambda: by_hose(10.0, 0.0, 60.0),
        lambda: by_round(-2.0, 0.5),
        lambda: by_rectangle(2.0, 2.0, math.nan),
        lambda: by_rectangle(2.0, 2.0, 0.5, 0.9),
        lambda: by_plate(math.inf),
    ],
)
def test_what_cannot_be_measured_is_refused(ask: Callable[[], Litres]) -> None:
    with pytest.raises(InputError):
        ask()
