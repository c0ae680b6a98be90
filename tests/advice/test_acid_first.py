"""Low alkalinity beside a high pH: what goes in first, bicarbonate or acid, and how much of each."""

from __future__ import annotations

from dataclasses import replace

import pytest

from advice.scenes import CLEAR, NOW, SHELF, TUB, a_test, doses, reading
from tubwater.facts import Quantity
from tubwater.services import plan_for
from tubwater.tub import StepKind


def test_alkalinity_forty_with_ph_eight_point_two_gets_no_acid_without_twice_as_much_bicarbonate_before_it() -> None:
    plan = plan_for(TUB, SHELF, [CLEAR, a_test(5.0, 8.2, 40.0, method="visual-comparator")], NOW)
    eq = {"sodium-bicarbonate": 0.99 / 84.0, "sodium-bisulfate": 0.93 / 120.06}  # per gram, of the pure salts
    given = [
        (s.amount.substance, s.amount.grams * eq[s.amount.substance])
        for s in plan.steps
        if s.amount and s.amount.substance in eq
    ]
    base, acid = (sum(mol for name, mol in given if name == one) for one in eq)
    assert acid <= 0.5 * base + 1e-9
    assert [name for name, _ in given] == sorted((name for name, _ in given), key=list(eq).index)
    assert given or "acid-held-back" in {r.kind for r in plan.notes}


def test_the_same_read_by_photometer_and_drops_gets_acid_first_and_bicarbonate_after_it() -> None:
    """By hand for 1,300 L: 15 g of dry acid and 45 g of bicarbonate take it to about pH 7.4 and 62 mg/L."""
    colour = a_test(5.0, 8.2, method="photometer")
    drops = reading(Quantity.TOTAL_ALKALINITY, 40.0, "drop-titration", NOW)
    plan = plan_for(TUB, SHELF, [CLEAR, replace(colour, readings=(*colour.readings, drops))], NOW)
    given = [s.amount.substance for s in plan.steps if s.kind is StepKind.DOSE and s.amount]
    assert list(dict.fromkeys(given)) == ["sodium-bisulfate", "sodium-bicarbonate"]
    end = {e.quantity: e.median for e in plan.end}
    assert 7.2 <= end[Quantity.PH] <= 7.7 and 55.0 <= end[Quantity.TOTAL_ALKALINITY] <= 80.0


@pytest.mark.parametrize(("ph", "alkalinity", "calcium"), [(7.9, 40.0, 250.0), (8.0, 40.0, 400.0), (7.9, 50.0, 400.0)])
def test_low_alkalinity_that_lime_or_ph_leave_no_room_for_gets_a_little_acid_first(
    ph: float, alkalinity: float, calcium: float
) -> None:
    """The pH keeps nobody out, and yet bicarbonate alone would bring out lime or lift the pH past its limit."""
    drops = [
        reading(q, value, "drop-titration", NOW)
        for q, value in ((Quantity.TOTAL_ALKALINITY, alkalinity), (Quantity.CALCIUM_HARDNESS, calcium))
    ]
    colour = a_test(4.0, ph, method="photometer")
    plan = plan_for(TUB, SHELF, [CLEAR, replace(colour, readings=(*colour.readings, *drops))], NOW)
    given = [(s.amount.substance, s.reasons[0].kind) for s in plan.steps if s.kind is StepKind.DOSE and s.amount]
    assert [one for one in dict.fromkeys(given) if one[0] != "monopersulfate"] == [
        ("sodium-bisulfate", "acid-makes-room"),
        ("sodium-bicarbonate", "raise-alkalinity"),
    ]
    end = {e.quantity: e.median for e in plan.end}
    assert end[Quantity.TOTAL_ALKALINITY] > alkalinity + 8.0 and 7.2 <= end[Quantity.PH] <= 7.8


def test_a_ph_in_the_middle_of_its_aim_over_enough_alkalinity_gets_no_acid_to_let_bicarbonate_in() -> None:
    plan = plan_for(TUB, SHELF, [CLEAR, a_test(4.0, 7.5, 90.0)], NOW)
    assert not {"sodium-bisulfate", "sodium-bicarbonate"} & set(doses(plan))


@pytest.mark.parametrize("litres", [900.0, 1000.0, 1200.0, 1500.0])
def test_where_the_acid_that_is_wanted_makes_too_little_room_more_of_it_goes_in_whatever_the_volume(
    litres: float,
) -> None:
    """By a strip of pH 7.8 and alkalinity 40; of the acid at most what half of the bicarbonate makes up for."""
    plan = plan_for(replace(TUB, litres=litres), SHELF, [CLEAR, a_test(2.0, 7.8, 40.0)], NOW)
    mol = {"sodium-bicarbonate": 0.99 / 84.0, "sodium-bisulfate": 0.93 / 120.06}  # per gram, of the pure salts
    given = dict.fromkeys(mol, 0.0)
    for step in plan.steps:
        if step.kind is StepKind.DOSE and step.amount and step.amount.substance in mol:
            given[step.amount.substance] += step.amount.grams * mol[step.amount.substance]
    assert given["sodium-bicarbonate"] > 0.3 * litres / 1000.0  # about 15 mg/L of alkalinity
    assert 0.0 < given["sodium-bisulfate"] <= 0.5 * given["sodium-bicarbonate"]
    end = {e.quantity: e.median for e in plan.end}
    assert 7.2 <= end[Quantity.PH] <= 7.8 and 60.0 <= end[Quantity.TOTAL_ALKALINITY] <= 120.0


def test_bicarbonate_that_is_wanted_and_finds_no_room_without_acid_is_not_dropped_without_a_word() -> None:
    no_acid = replace(SHELF, products=tuple(p for p in SHELF.products if p.substance != "sodium-bisulfate"))
    plan = plan_for(replace(TUB, litres=1000.0), no_acid, [CLEAR, a_test(2.0, 7.8, 40.0)], NOW)
    assert not {"sodium-bicarbonate", "sodium-carbonate"} & set(doses(plan))
    said = next(r for r in plan.notes if r.kind == "bicarbonate-held-back")
    assert 40.0 <= float(said.values["value"]) <= 75.0 and said.values["low"] == 60.0
