"""Cyanuric acid in a chlorine tub: nothing but other water takes it away (common practice)."""

from __future__ import annotations

import pytest

from advice.scenes import CLEAR, NOW, SCOOP, SHELF, kinds, reading
from tubwater.facts import Quantity
from tubwater.services import plan_for
from tubwater.tub import Plan, Product, Sanitizer, Shelf, StepKind, Tub
from tubwater.tub import Tested as Readings

TUB = Tub("annexe", 1300.0, Sanitizer.CHLORINE)
CHLORINE = Product("liquid chlorine", "sodium-hypochlorite", 0.12, SCOOP)


def plan_with(cyanurate: float) -> Plan:
    read = {
        Quantity.FREE_CHLORINE: 4.0,
        Quantity.PH: 7.5,
        Quantity.TOTAL_ALKALINITY: 80.0,
        Quantity.CYANURIC_ACID: cyanurate,
    }
    test = Readings(NOW, tuple(reading(quantity, value) for quantity, value in read.items()))
    return plan_for(TUB, Shelf((*SHELF.products[:3], CHLORINE)), [CLEAR, test], NOW)


def test_far_too_much_of_it_is_thinned_with_fresh_water_and_the_step_says_what_should_then_read() -> None:
    plan = plan_with(150.0)
    drain, filling = (next(s for s in plan.steps if s.kind is kind) for kind in (StepKind.DRAIN, StepKind.FILL))
    why = drain.reasons[0]
    assert why.kind == "only-water-helps" and why.values["quantity"] == "cyanuric acid"
    assert why.basis is not None and not why.basis.verified
    read = {e.quantity: e.median for e in filling.expected}
    kept = 1.0 - drain.litres / 1300.0
    assert read[Quantity.CYANURIC_ACID] == pytest.approx(float(why.values["value"]) * kept, rel=0.15)


@pytest.mark.parametrize("cyanurate", [0.0, 30.0, 50.0])
def test_what_is_usual_changes_no_water(cyanurate: float) -> None:
    assert StepKind.DRAIN not in kinds(plan_with(cyanurate))
