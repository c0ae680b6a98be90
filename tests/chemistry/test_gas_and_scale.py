"""Carbon dioxide exchange and calcium carbonate."""

from __future__ import annotations

import numpy as np
import pytest

from chemistry.waters import CASES, from_totals
from tubwater.chemistry import (
    MG_PER_EQ_CACO3,
    REFERENCE_2024,
    Water,
    at_pco2,
    calcite_index,
    equilibrate,
    exchange,
    kg_water_per_litre,
    precipitate,
    precipitation_potential,
    water_at_ph,
)

AIR = 420e-6


def plain(alkalinity_mg: float, ph: float = 7.2, boron_mg: float = 0.0) -> Water:
    """150 mg/L of calcium hardness at 38 degC, the make-up behind the printed values."""
    bare = Water.of(38.0, calcium=1.51e-3, magnesium=3e-4, chloride=4.26e-3, sulfate=5.2e-4, borate=boron_mg / 10811.0)
    return water_at_ph(bare, ph, alkalinity_mg / MG_PER_EQ_CACO3 / 993.0)


OPEN = {20: 7.83, 40: 8.12, 60: 8.28, 80: 8.40, 100: 8.49, 120: 8.56, 150: 8.64, 200: 8.75, 250: 8.84}


@pytest.mark.parametrize(("alkalinity", "ph"), OPEN.items())
def test_open_to_the_air_the_pH_ends_where_it_is_printed(alkalinity: float, ph: float) -> None:
    # Calculated with the reference code at 38 degC and 420 uatm.
    found = equilibrate(at_pco2(plain(alkalinity), AIR))
    assert found.ph == pytest.approx(ph, abs=0.03)
    assert found.pco2 == pytest.approx(AIR, rel=1e-6)


@pytest.mark.parametrize(("ph", "microatm"), [(7.2, 7300), (7.4, 4590), (7.6, 2880), (7.8, 1800), (8.0, 1120)])
def test_the_pressure_of_carbon_dioxide_at_alkalinity_80(ph: float, microatm: float) -> None:
    assert equilibrate(plain(80.0, ph)).pco2 * 1e6 == pytest.approx(microatm, rel=0.025)


TIMES = {
    (40, 0): {7.4: 0.57, 7.6: 1.25, 7.8: 2.25, 8.0: 4.5},
    (80, 0): {7.4: 0.52, 7.6: 1.11, 7.8: 1.86, 8.0: 3.0, 8.2: 5.8},
    (120, 0): {7.4: 0.51, 7.6: 1.07, 7.8: 1.75, 8.0: 2.8, 8.2: 4.7},
    (200, 0): {7.4: 0.50, 7.6: 1.04, 7.8: 1.68, 8.0: 2.6, 8.2: 4.2},
    (80, 50): {7.4: 0.82, 7.6: 2.2, 7.8: 5.1, 8.0: 13.5},
}


@pytest.mark.parametrize(("alkalinity", "boron"), TIMES)
def test_air_raises_the_pH_in_the_printed_time(alkalinity: float, boron: float) -> None:
    # kLa t from pH 7.2, calculated with the reference code; printed to two figures.
    expected = TIMES[alkalinity, boron]
    found = equilibrate(exchange(plain(alkalinity, 7.2, boron), np.array(list(expected.values())), AIR)).ph
    assert found == pytest.approx(np.array(list(expected)), abs=0.045 if boron else 0.03)


def test_gas_exchange_leaves_alkalinity_and_loses_what_the_water_lacks() -> None:
    before = plain(80.0)
    times = np.array([0.0, 0.1, 0.5, 1.0, 3.0, 10.0, 100.0])
    after = exchange(before, times, AIR)
    assert after.alkalinity == pytest.approx(np.full(7, float(before.alkalinity)), rel=1e-12)
    assert after.carbonate[0] == before.carbonate
    assert (np.diff(after.carbonate) < 0.0).all()
    assert equilibrate(after).ph[-1] == pytest.approx(float(equilibrate(at_pco2(before, AIR)).ph), abs=0.002)


def test_gas_exchange_is_the_same_in_one_go_and_in_pieces() -> None:
    whole = exchange(plain(80.0), 2.0, AIR)
    pieces = plain(80.0)
    for _ in range(8):
        pieces = exchange(pieces, 0.25, AIR)
    assert whole.carbonate == pytest.approx(float(pieces.carbonate), rel=1e-6)


def test_gas_enters_a_water_that_lacks_it() -> None:
    rich = at_pco2(plain(80.0), 1e-4)
    assert exchange(rich, 1.0, AIR).carbonate > rich.carbonate


def test_acid_and_air_end_at_the_pH_of_the_lower_alkalinity() -> None:
    acid = plain(120.0).plus(chloride=40.0 / MG_PER_EQ_CACO3 / 993.0)
    ended = equilibrate(exchange(acid, 60.0, AIR))
    assert ended.ph == pytest.approx(OPEN[80], abs=0.03)


def test_a_partial_loss_gives_the_printed_pH() -> None:
    before = from_totals(CASES["C-degas-partial"]).plus(carbonate=5e-5)
    assert equilibrate(before, REFERENCE_2024).ph == pytest.approx(7.4, abs=0.002)
    assert equilibrate(before.plus(carbonate=-5e-5), REFERENCE_2024).ph == pytest.approx(7.612, abs=0.002)


@pytest.mark.parametrize(
    ("name", "si", "potential", "pco2"), [("A-mod-38", -0.094, -1.9, 4602e-6), ("A-hard-40", 0.870, 32.8, None)]
)
def test_speciation_of_the_two_printed_waters(name: str, si: float, potential: float, pco2: float | None) -> None:
    solution = equilibrate(from_totals(CASES[name]), REFERENCE_2024)
    assert solution.si_calcite == pytest.approx(si, abs=0.003)
    assert precipitation_potential(solution.water, REFERENCE_2024) == pytest.approx(potential, abs=0.06)
    if pco2 is not None:
        assert solution.pco2 == pytest.approx(pco2, rel=0.005)


def test_what_has_fallen_out_leaves_a_saturated_water() -> None:
    waters = [from_totals(case) for case in CASES.values()]
    for water in waters:
        after = precipitate(water)
        index = float(calcite_index(water))
        assert calcite_index(after) == pytest.approx(min(index, 0.0), abs=1e-5)
        lost = water.calcium - after.calcium
        assert water.carbonate - after.carbonate == pytest.approx(float(lost), abs=1e-15)
        assert water.alkalinity - after.alkalinity == pytest.approx(2.0 * float(lost), abs=1e-15)
        potential = max(float(precipitation_potential(water)), 0.0)
        assert lost * 100.087e3 * kg_water_per_litre(water) == pytest.approx(potential, abs=1e-4)


def test_dissolving_its_potential_saturates_an_aggressive_water() -> None:
    water = from_totals(CASES["A-soft-10"])
    gain = -precipitation_potential(water) / (100.087e3 * kg_water_per_litre(water))
    assert gain > 0.0
    assert calcite_index(water.plus(calcium=gain, carbonate=gain)) == pytest.approx(0.0, abs=1e-5)


def test_the_potential_is_vectorised_and_finite_without_calcium_or_carbonate() -> None:
    water = Water.of(
        38.0,
        calcium=[0.0, 1e-3, 0.0, 2e-3],
        carbonate=[2e-3, 0.0, 0.0, 2e-3],
        sodium=2e-3,
        chloride=[0, 2e-3, 2e-3, 4e-3],
    )
    potential = precipitation_potential(water)
    assert np.isfinite(potential).all()
    for i in range(4):
        assert precipitation_potential(water[i]) == pytest.approx(float(potential[i]), abs=2e-3)
