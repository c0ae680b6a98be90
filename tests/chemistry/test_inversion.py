"""From readings back to a water, and round again."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chemistry.waters import random_waters
from tubwater.chemistry import (
    DEFAULT,
    Composition,
    Water,
    carbonate_from,
    closed,
    dose,
    equilibrate,
    from_test,
    kg_water_per_litre,
    solve_pair,
    titrated_alkalinity,
    water_at_ph,
)
from tubwater.chemistry.water import COMPONENTS
from tubwater.errors import ChemistryError

MANY = random_waters(11, 300, DEFAULT)
SOLVED = equilibrate(MANY)
KNOWN = {"ph": SOLVED.ph, "alkalinity": MANY.alkalinity, "carbonate": MANY.carbonate, "pco2": SOLVED.pco2}
PAIRS = [(a, b) for i, a in enumerate(KNOWN) for b in list(KNOWN)[i + 1 :]]


@pytest.mark.parametrize(("first", "second"), PAIRS)
def test_every_input_pair_gives_the_same_water_back(first: str, second: str) -> None:
    found = solve_pair(MANY.replaced(carbonate=0.0), **{first: KNOWN[first], second: KNOWN[second]})
    assert found.possible.all()
    # Sodium closed the charge, so the strong ions are those of the alkalinity that was found.
    assert found.water.alkalinity == pytest.approx(MANY.alkalinity, abs=2e-9)
    assert found.water.carbonate == pytest.approx(MANY.carbonate, rel=1e-6, abs=1e-9)
    assert equilibrate(found.water).ph == pytest.approx(SOLVED.ph, abs=1e-6)


@given(st.floats(6.8, 8.4), st.floats(0.3e-3, 5e-3), st.floats(5.0, 42.0), st.floats(0.0, 8e-3), st.floats(0.0, 4e-3))
def test_a_test_is_read_back_from_the_water_that_it_describes(
    ph: float, alkalinity: float, celsius: float, calcium: float, borate: float
) -> None:
    found = from_test(
        celsius, ph, alkalinity, calcium=calcium, borate=borate, sulfate=5e-4, cyanurate=2e-4, bromine=3e-5
    )
    if found.possible:
        assert equilibrate(found.water).ph == pytest.approx(ph, abs=1e-6)
        assert titrated_alkalinity(found.water) == pytest.approx(alkalinity, abs=1e-9)


SUBSTANCES = [
    Composition.of(carbonate=11.904, sodium=11.904),
    Composition.of(sodium=8.330, sulfate=8.330),
    Composition.of(chloride=27.427),
    Composition.of(sodium=5.244, borate=10.489),
]


@pytest.mark.parametrize("substance", SUBSTANCES)
def test_a_dose_is_recovered_from_the_readings_before_and_after(substance: Composition) -> None:
    grams, litres = 20.0, 1300.0
    before = water_at_ph(Water.of(38.0, calcium=1.5e-3, chloride=4e-3, borate=1e-3), 7.5, 1.6e-3)
    after = dose(before, substance, grams, litres)
    solution = equilibrate(after)
    read = from_test(
        38.0, solution.ph, titrated_alkalinity(after),
        **{name: getattr(after, name) for name in ("calcium", "chloride", "sulfate", "borate")},
    )  # fmt: skip
    kg = litres * kg_water_per_litre(before)
    gained = (read.water.alkalinity - before.alkalinity) * kg
    assert gained == pytest.approx(substance.alkalinity * grams, abs=1e-6)
    assert (read.water.carbonate - after.carbonate) * kg == pytest.approx(0.0, abs=1e-6)


def test_contradictory_readings_are_flagged_and_give_no_nan() -> None:
    ph = np.array([7.5, 8.4, 6.0, 9.5])
    found = from_test(38.0, ph, 2e-4, borate=4e-3)
    assert found.possible.tolist() == [True, False, True, False]
    assert np.isfinite(found.water.totals).all()
    assert (found.water.totals >= 0.0).all()
    assert np.isfinite(equilibrate(found.water).ph).all()


def test_more_gas_than_carbonate_is_flagged() -> None:
    found = solve_pair(Water.of(38.0, calcium=1e-3, chloride=2e-3), carbonate=[1e-4, 2e-3], pco2=0.1)
    assert found.possible.tolist() == [False, False]
    found = solve_pair(Water.of(38.0, calcium=1e-3, chloride=2e-3), carbonate=[1e-4, 2e-3], pco2=[0.1, 0.004])
    assert found.possible.tolist() == [False, True]


def test_chloride_closes_the_charge_where_sodium_would_be_negative() -> None:
    water = closed(Water.of(38.0, calcium=2e-3, chloride=[1e-3, 5e-3]), 1e-3)
    assert water.alkalinity == pytest.approx([1e-3, 1e-3])
    assert water.sodium == pytest.approx([0.0, 2e-3])
    assert water.chloride == pytest.approx([3e-3, 5e-3])


def test_readings_broadcast() -> None:
    water = water_at_ph(Water.of(38.0, calcium=1e-3, chloride=2e-3), np.linspace(7.0, 8.0, 3)[:, None], [1e-3, 2e-3])
    assert water.shape == (3, 2)
    assert equilibrate(water).ph == pytest.approx(np.linspace(7.0, 8.0, 3)[:, None] * np.ones(2), abs=1e-7)
    many = water_at_ph(Water.of(np.full(3, 38.0), calcium=1e-3, chloride=2e-3), np.full((4, 1), 7.4), 1e-3)
    assert many.shape == (4, 3)


def test_no_carbonate_gives_a_negative_total_to_whoever_asks() -> None:
    assert carbonate_from(closed(Water.of(38.0, borate=5e-3), 1e-5), 9.0) < 0.0


@pytest.mark.parametrize(
    "given", [{}, {"ph": 7.5}, {"ph": 7.5, "alkalinity": 1e-3, "pco2": 1e-3}, {"ph": np.nan, "alkalinity": 1e-3}]
)
def test_anything_but_two_finite_values_is_refused(given: dict[str, float]) -> None:
    with pytest.raises(ChemistryError):
        solve_pair(Water.of(38.0), **given)
    with pytest.raises(ChemistryError):
        solve_pair(Water.of(38.0), pco2=-1.0, ph=7.0)


@pytest.mark.parametrize(
    ("ph", "per_mg_boron", "per_mg_cyanuric_acid"),
    [(7.2, 0.058, 0.290), (7.5, 0.115, 0.331), (7.8, 0.224, 0.357), (8.0, 0.345, 0.368), (8.2, 0.524, 0.375)],
)
def test_what_borate_and_cyanurate_add_to_a_titration(
    ph: float, per_mg_boron: float, per_mg_cyanuric_acid: float
) -> None:
    # mg/L as CaCO3 per mg/L: calculated with the reference code at 38 and 35 degC, ionic strength 0.01.
    plain = {"sodium": 8e-3, "chloride": 6.4e-3}
    borate = equilibrate(water_at_ph(Water.of(38.0, borate=20e-3 / 10.811, **plain), ph, 2e-3))
    part = (borate.species("B(OH)4-") * 50043.5) / 20.0
    assert part == pytest.approx(per_mg_boron, rel=0.03)
    cyanurate = equilibrate(water_at_ph(Water.of(35.0, cyanurate=50e-3 / 129.075, **plain), ph, 2e-3))
    part = (cyanurate.species("H2Cy-") + 2.0 * cyanurate.species("HCy--")) * 50043.5 / 50.0
    assert part == pytest.approx(per_mg_cyanuric_acid, rel=0.01)


@pytest.mark.parametrize("count", [5, 1000])
@pytest.mark.parametrize(
    "given",
    [{"carbonate": 2e-3, "pco2": 1e3}, {"ph": 14.0, "alkalinity": -1e-3}, {"ph": 13.0, "pco2": 1.0}],
)
def test_a_pair_that_no_water_holds_is_told_and_stays_finite(count: int, given: dict[str, float]) -> None:
    water = Water.of(np.linspace(5.0, 40.0, count), calcium=1e-3, chloride=2e-3, borate=1e-3, sulfate=1e-3)
    found = solve_pair(water, **given)
    assert not found.possible.any()
    assert np.isfinite(found.water.totals).all()


@given(
    st.sampled_from(PAIRS),
    st.tuples(st.floats(0.0, 14.0), st.floats(-1.0, 1.0), st.floats(0.0, 1.0), st.floats(0.0, 1e3)),
    st.lists(st.floats(0.0, 2.0), min_size=len(COMPONENTS), max_size=len(COMPONENTS)),
    st.sampled_from([1, 400]),
)
def test_any_pair_in_any_brine_gives_numbers_and_no_overflow(
    pair: tuple[str, str], values: tuple[float, ...], totals: list[float], count: int
) -> None:
    brine = Water.of(np.full(count, 20.0), **dict(zip(COMPONENTS, totals, strict=True)))
    known = dict(zip(KNOWN, values, strict=True))
    found = solve_pair(brine, **{name: known[name] for name in pair})
    assert np.isfinite(found.water.totals).all()
    solution = equilibrate(found.water)
    assert np.isfinite([solution.ph, solution.ionic_strength, solution.pco2, solution.si_calcite]).all()
