"""Waters that are odd but true: the belief follows the readings of them, and doubts only what cannot be."""

from __future__ import annotations

import numpy as np
import pytest

from belief.histories import NOW, PRODUCTS
from belief.waters import KITS, ODD, a_reading, shown
from tubwater.belief import Belief, Observer, believe
from tubwater.facts import methods
from tubwater.facts.quantity import Quantity
from tubwater.tub import Filled, FillWater, Reading, Sanitizer, Tub
from tubwater.tub import Tested as Readings

MEMBERS = 250
SEEDS = (1, 2, 3, 4)
FALSE_ALARMS = 0.03  # share of the tests of true waters, without blunders, that may be doubted
BROMINE, PH, ALKALINITY, CALCIUM = (
    Quantity.BROMINE,
    Quantity.PH,
    Quantity.TOTAL_ALKALINITY,
    Quantity.CALCIUM_HARDNESS,
)


def held(
    *readings: Reading,
    sanitizer: Sanitizer = Sanitizer.BROMINE,
    fill: FillWater | None = None,
    seed: int = 1,
    members: int = 600,
) -> Belief:
    tub = Tub("odd", 1300.0, sanitizer, fill=fill or FillWater())
    return believe(tub, PRODUCTS, [Readings(NOW, readings)], NOW, seed=seed, members=members)


def quantiles(belief: Belief, quantity: Quantity) -> np.ndarray:
    return np.quantile(Observer(belief.state).read(quantity), (0.05, 0.5, 0.95))


@pytest.mark.parametrize("kit", KITS)
def test_true_waters_are_hardly_ever_doubted(kit: str) -> None:
    doubted = []
    for name, odd in ODD.items():
        for seed in SEEDS:
            belief = held(*shown(odd, kit, seed), sanitizer=odd.sanitizer, seed=seed, members=MEMBERS)
            doubted += [(name, seed, belief.suspects)] if belief.suspects else []
    assert len(doubted) <= FALSE_ALARMS * len(ODD) * len(SEEDS), doubted


@pytest.mark.parametrize(
    ("method", "read"), [("strip", 6.8), ("visual-comparator", 7.0), ("photometer", 6.9), ("electrode", 6.9)]
)
def test_a_low_ph_in_water_of_much_alkalinity_is_believed(method: str, read: float) -> None:
    alkalinity = "strip" if method == "strip" else "drop-titration"
    belief = held(
        a_reading(BROMINE, 3.0, "strip"),
        a_reading(PH, read, method),
        a_reading(ALKALINITY, 240.0, alkalinity),
    )
    assert belief.suspects == ()
    assert abs(quantiles(belief, PH)[1] - read) < (0.3 if method == "strip" else 0.1)
    assert abs(quantiles(belief, ALKALINITY)[1] - 240.0) < 30.0


@pytest.mark.parametrize("method", ["strip", "electrode"])
def test_much_gas_missing_from_hardly_any_alkalinity_is_doubted(method: str) -> None:
    belief = held(
        a_reading(BROMINE, 3.0, "strip"), a_reading(PH, 8.4, method), a_reading(ALKALINITY, 10.0, "drop-titration")
    )
    assert "total alkalinity" in belief.suspects


def test_a_stated_fill_moves_the_prior_of_the_water_in_use() -> None:
    hard = FillWater({ALKALINITY: 300.0, CALCIUM: 400.0}, "measured")
    soft = FillWater({ALKALINITY: 25.0, CALCIUM: 15.0}, "measured")
    for fill, wanted in ((hard, (300.0, 400.0)), (soft, (25.0, 15.0))):
        belief = believe(Tub("odd", 1300.0, Sanitizer.BROMINE, fill=fill), PRODUCTS, [], NOW, seed=1, members=600)
        for quantity, value, usual in ((ALKALINITY, wanted[0], 95.0), (CALCIUM, wanted[1], 140.0)):
            low, middle, high = quantiles(belief, quantity)
            assert low < value < high and low < usual < high  # it may be like its fill, or have been balanced
            assert abs(np.log(middle / value)) < abs(np.log(usual / value))


def test_the_first_readings_of_a_hard_fill_fit() -> None:
    fill = FillWater({ALKALINITY: 300.0, CALCIUM: 400.0}, "measured")
    for ph, alkalinity, calcium in ((7.8, 290.0, 420.0), (7.4, 240.0, 460.0), (8.0, 300.0, 500.0), (7.5, 120.0, 430.0)):
        belief = held(
            a_reading(BROMINE, 3.15, "fas-dpd-drops"),
            a_reading(PH, ph, "electrode"),
            a_reading(ALKALINITY, alkalinity, "drop-titration"),
            a_reading(CALCIUM, calcium, "drop-titration"),
            fill=fill,
        )
        assert belief.suspects == (), (ph, alkalinity, calcium)


def test_fresh_water_need_not_be_as_the_yearly_report_says() -> None:
    tub = Tub("odd", 1300.0, Sanitizer.BROMINE, fill=FillWater({ALKALINITY: 120.0, CALCIUM: 150.0}, "utility report"))
    for alkalinity, calcium in ((90.0, 110.0), (160.0, 200.0)):
        read = Readings(
            NOW,
            (a_reading(ALKALINITY, alkalinity, "drop-titration"), a_reading(CALCIUM, calcium, "drop-titration")),
        )
        belief = believe(tub, PRODUCTS, [Filled(NOW, None), read], NOW, seed=1, members=600)
        assert belief.suspects == (), (alkalinity, calcium)


@pytest.mark.parametrize(
    "read",
    [a_reading(Quantity.TEMPERATURE, 25.0, "thermometer"), a_reading(Quantity.CYANURIC_ACID, 80.0, "turbidity-tube")],
    ids=["colder than set", "cyanuric acid in bromine water"],
)
def test_what_the_belief_does_not_doubt_it_cannot_hold_against_a_reading(read: Reading) -> None:
    belief = held(a_reading(BROMINE, 3.0, "strip"), a_reading(PH, 7.5, "strip"), read, members=MEMBERS)
    assert belief.suspects == ()


def test_whatever_a_method_reads_the_belief_can_hear() -> None:
    belief = believe(Tub("odd", 1300.0, Sanitizer.BROMINE), PRODUCTS, [], NOW, seed=1, members=8)
    for method in methods().values():
        for quantity in method.quantities:
            assert np.isfinite(Observer(belief.state).read(quantity)).all(), quantity


def test_conductivity_is_a_reading_like_any_other() -> None:
    salts = [
        quantiles(held(a_reading(Quantity.CONDUCTIVITY, read, "conductivity-meter")), Quantity.CHLORIDE)[1]
        for read in (400.0, 3000.0)
    ]
    assert salts[1] > 2.0 * salts[0]
