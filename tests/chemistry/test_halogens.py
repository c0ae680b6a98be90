"""Oxidants, bromide and what a halogen leaves."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tubwater.chemistry import (
    MG_PER_EQ_CACO3,
    Composition,
    Constants,
    Water,
    activate,
    bromine_shares,
    dose,
    equilibrate,
    kg_water_per_litre,
    mg_per_litre,
    monopersulfate_rate,
    react_monopersulfate,
    second_order,
    spend,
    water_at_ph,
)

TUB = Water.of(38.0, carbonate=1.8e-3, calcium=1.5e-3, sodium=3e-3, chloride=4.3e-3, bromide=30e-3 / 79.904)
PRINTED = {  # percent HOBr at 38 degC, ionic strength 0.015, by pKa at 25 degC, enthalpy and pH (calculation)
    (8.39, 18.9): (90.9, 83.3, 71.4, 61.2, 49.8),
    (8.58, 18.9): (93.8, 88.4, 79.3, 70.7, 60.4),
    (8.65, 18.9): (94.8, 90.1, 81.9, 74.1, 64.4),
    (8.65, 31.4): (93.6, 88.0, 78.6, 69.9, 59.4),
    (8.80, 18.9): (96.2, 92.8, 86.5, 80.2, 71.9),
}
PH = np.array([7.2, 7.5, 7.8, 8.0, 8.2])


@pytest.mark.parametrize("choice", PRINTED)
def test_the_share_of_hypobromous_acid_is_as_printed_for_each_constant(choice: tuple[float, float]) -> None:
    constants = Constants(pk_hobr_25=choice[0], hobr_enthalpy=choice[1] * 1e3)
    water = water_at_ph(Water.of(38.0, sodium=1e-2, chloride=1.2e-2, bromine=3e-5), PH, 2e-3, constants)
    solution = equilibrate(water, constants)
    assert solution.species("HOBr") / water.bromine * 100.0 == pytest.approx(np.array(PRINTED[choice]), abs=0.4)


def test_the_share_of_hypochlorous_acid_is_as_printed() -> None:
    water = water_at_ph(Water.of(38.0, sodium=1e-2, chloride=1.2e-2, chlorine=3e-5), PH[:4], 2e-3)
    share = equilibrate(water).species("HOCl") / water.chlorine * 100.0
    assert share == pytest.approx(np.array([60.8, 43.7, 28.0, 19.7]), abs=0.4)


@pytest.mark.parametrize(
    ("celsius", "at_25", "hocl_mg"),
    [(25.0, True, 0.042), (25.0, False, 0.028), (38.0, False, 0.051), (38.0, True, 0.042)],
)
def test_free_hypochlorous_acid_beside_cyanurate_is_as_printed(celsius: float, at_25: bool, hocl_mg: float) -> None:
    # mg/L at chlorine 3 as Cl2, cyanuric acid 30, pH 7.5, ionic strength near 0.01 (calculation).
    constants = Constants(cyanurate_at_25=at_25)
    bare = Water.of(celsius, chlorine=3e-3 / 70.906, cyanurate=30e-3 / 129.075, sodium=8e-3, chloride=8e-3)
    solution = equilibrate(water_at_ph(bare, 7.5, 1.8e-3, constants), constants)
    assert solution.species("HOCl") * 70.906e3 == pytest.approx(hocl_mg, abs=0.0025)


@pytest.mark.parametrize(
    ("bromide_mg", "ph", "percent"), [(20.0, 7.5, 0.06), (100.0, 7.2, 0.7), (100.0, 6.5, 3.4), (200.0, 6.5, 6.5)]
)
def test_dissolved_bromine_is_as_printed(bromide_mg: float, ph: float, percent: float) -> None:
    bare = Water.of(38.0, bromide=bromide_mg / 79904.0, bromine=2.5e-5, sodium=1.5e-2, chloride=1.5e-2)
    shares = bromine_shares(equilibrate(water_at_ph(bare, ph, 1.5e-3)))
    assert shares["Br2"] * 100.0 == pytest.approx(percent, rel=0.12)
    assert sum(shares.values()) == pytest.approx(1.0, abs=1e-12)


def test_chlorine_takes_bromide_by_mole_and_the_rest_stays() -> None:
    water = (
        TUB.plus(chlorine=[1e-4, 5e-4]) if TUB.shape else Water(np.full(2, 38.0), np.stack([TUB.totals] * 2, axis=1))
    )
    water = water.replaced(chlorine=[1e-4, 5e-4])
    after = activate(water)
    assert after.bromine == pytest.approx([1e-4, float(TUB.bromide)])
    assert after.chlorine == pytest.approx([0.0, 5e-4 - float(TUB.bromide)])
    assert after.bromide == pytest.approx([float(TUB.bromide) - 1e-4, 0.0], abs=1e-18)
    assert after.alkalinity == pytest.approx(water.alkalinity)


def test_one_mg_as_bromine_holds_half_a_mg_of_bromide() -> None:
    made = react_monopersulfate(TUB.plus(monopersulfate=1e-3 / 159.808), 1e9)
    gone = mg_per_litre(TUB, "bromide") - mg_per_litre(made, "bromide")
    assert mg_per_litre(made, "bromine") == pytest.approx(2.0 * float(gone), rel=1e-3)


def test_using_bromine_up_returns_the_bromide_and_leaves_one_acid() -> None:
    water = TUB.plus(bromine=5e-5)
    after = spend(water, 1.0)
    assert after.bromine == 0.0
    assert after.bromide == pytest.approx(float(water.bromide) + 5e-5)
    assert after.alkalinity - water.alkalinity == pytest.approx(-5e-5, rel=1e-9)
    assert equilibrate(after).ph < equilibrate(water).ph


@given(st.floats(0.0, 1e-3), st.floats(0.0, 1e-3), st.floats(0.0, 1e-2))
def test_halogen_is_spent_from_both_alike_and_never_below_zero(bromine: float, chlorine: float, amount: float) -> None:
    water = TUB.plus(bromine=bromine, chlorine=chlorine)
    after = spend(water, amount)
    assert after.bromine >= 0.0 <= after.chlorine
    used = water.bromine + water.chlorine - after.bromine - after.chlorine
    assert used == pytest.approx(min(amount, bromine + chlorine), abs=1e-15)


@pytest.mark.parametrize(("bromide_mg", "minutes"), [(5.0, 264.0), (30.0, 44.0), (60.0, 22.0), (100.0, 13.0)])
def test_monopersulfate_has_the_printed_half_life(bromide_mg: float, minutes: float) -> None:
    water = Water.of(25.0, bromide=bromide_mg / 79904.0, monopersulfate=1e-9)
    after = react_monopersulfate(water, minutes * 60.0)
    assert after.monopersulfate / water.monopersulfate == pytest.approx(0.5, abs=0.015)


def test_monopersulfate_reacts_about_twice_as_fast_warm() -> None:
    assert monopersulfate_rate(38.0) / monopersulfate_rate(25.0) == pytest.approx(2.3, abs=0.2)
    assert monopersulfate_rate(25.0) == pytest.approx(0.70)


@given(st.floats(1e-9, 1e-2), st.floats(1e-9, 1e-2), st.floats(0.0, 1e5))
def test_second_order_never_overshoots_and_adds_up(a: float, b: float, kt: float) -> None:
    x, y, z = np.array(a), np.array(b), np.array(kt)
    whole = second_order(x, y, z)
    assert 0.0 <= whole <= min(a, b)
    half = second_order(x, y, 0.5 * z)
    rest = second_order(x - half, y - half, 0.5 * z)
    assert half + rest == pytest.approx(float(whole), rel=1e-5, abs=1e-6 * min(a, b))


def test_equal_amounts_react_by_the_rule_for_equal_amounts() -> None:
    a, kt = 3e-4, 5e3
    assert second_order(np.array(a), np.array(a), np.array(kt)) == pytest.approx(a * a * kt / (1.0 + a * kt), rel=1e-6)


def test_readings_stand_on_either_scale() -> None:
    water = Water.of(25.0, bromine=1e-4, chlorine=1e-4)
    for one, other in (("bromine", "bromine as chlorine"), ("free chlorine as bromine", "free chlorine")):
        assert mg_per_litre(water, one) / mg_per_litre(water, other) == pytest.approx(2.2538, abs=1e-4)


# By hand: 1 g of H2O2 is 29.400 mmol, of ascorbic acid (176.124 g/mol) 5.678 mmol, each one mol of halogen per mol;
# 1.9 g of thiosulfate pentahydrate meet 1 g of Cl2 (a water utility's table), so 1 g meets 7.423 mmol.
REDUCERS = {
    "hydrogen peroxide": (Composition.of(reductant=1e3 / 34.014), 4.698, 2.085),  # mg of Br2 and of Cl2 that 1 mg takes
    "ascorbic acid": (Composition.of(reductant=1e3 / 176.124), 0.9074, 0.4026),
    "sodium thiosulfate": (Composition.of(sodium=8.059, sulfate=4.029, reductant=1e3 / 1.9 / 70.906), 1.1862, 0.5263),
}


@pytest.mark.parametrize("name", REDUCERS)
def test_a_reducer_takes_its_halogen_at_once_and_leaves_the_halide_and_acid(name: str) -> None:
    product, as_br2, as_cl2 = REDUCERS[name]
    for halogen, halide, quantity, taken in (
        ("bromine", "bromide", "bromine", as_br2),
        ("chlorine", "chloride", "free chlorine", as_cl2),
    ):
        water = TUB.plus(**{halogen: 3e-4, "demand": 5e-5})
        after = dose(water, product, 1300.0 * 2e-3, 1300.0)  # 2 mg/L
        gone = float(mg_per_litre(water, quantity) - mg_per_litre(after, quantity))
        assert gone == pytest.approx(2.0 * taken, rel=1e-3)
        moved = float(getattr(water, halogen) - getattr(after, halogen))
        assert getattr(after, halide) - getattr(water, halide) == pytest.approx(moved, abs=1e-15)
        assert after.demand == pytest.approx(5e-5, abs=1e-15)  # what the bathers left does not hurry
        salt = product.alkalinity * 2e-3 / kg_water_per_litre(water)
        assert water.alkalinity + salt - after.alkalinity == pytest.approx(moved, abs=1e-12)


def test_an_excess_of_reducer_stays_and_a_dose_into_halogen_free_water_too() -> None:
    product = REDUCERS["hydrogen peroxide"][0]
    brought = 10.0e-3 / 34.014 / float(kg_water_per_litre(TUB))  # 10 mg/L, mol/kg
    after = dose(TUB.plus(bromine=3e-5, chlorine=1e-5), product, 13.0, 1300.0)
    assert after.bromine == pytest.approx(0.0, abs=1e-18)
    assert after.chlorine == pytest.approx(0.0, abs=1e-18)
    assert after.reductant == pytest.approx(brought - 4e-5, rel=1e-4)
    assert dose(TUB, product, 13.0, 1300.0).reductant == pytest.approx(brought, rel=1e-4)


def test_ascorbic_acid_costs_the_alkalinity_of_its_stoichiometry() -> None:
    water = TUB.plus(bromine=1e-4)  # C6H8O6 + HOBr -> C6H6O6 + H+ + Br- + H2O: 0.284 mg/L as CaCO3 per mg/L
    after = dose(water, REDUCERS["ascorbic acid"][0], 1.3, 1300.0)
    fall = (water.alkalinity - after.alkalinity) * kg_water_per_litre(water) * MG_PER_EQ_CACO3 * 1e3
    assert fall == pytest.approx(0.284, abs=1e-3)


def test_monopersulfate_is_left_to_its_own_rate_by_a_reducer() -> None:
    after = dose(TUB.plus(monopersulfate=1e-4), REDUCERS["ascorbic acid"][0], 13.0, 1300.0)
    assert after.monopersulfate == pytest.approx(1e-4)


@given(st.floats(0.0, 1e-3), st.floats(0.0, 1e-3), st.floats(0.0, 1e-3), st.floats(0.0, 200.0))
def test_a_reducer_never_takes_more_than_there_is_and_loses_nothing(
    bromine: float, chlorine: float, there: float, grams: float
) -> None:
    water = TUB.plus(bromine=bromine, chlorine=chlorine, reductant=there)
    product = REDUCERS["hydrogen peroxide"][0]
    after = dose(water, product, grams, 1300.0)
    assert min(after.bromine, after.chlorine) >= 0.0
    assert after.reductant >= 0.0
    brought = grams * product.per_gram[-1] / 1300.0 / kg_water_per_litre(water)
    owed = after.reductant - after.bromine - after.chlorine
    assert owed == pytest.approx(float(there + brought - bromine - chlorine), abs=1e-12)
