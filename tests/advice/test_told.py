"""What is wanted and yet stays out is told; air runs before the oxidizer that needs its room."""

from __future__ import annotations

from dataclasses import replace

import pytest

from advice.fresh_scenes import a_tub, fresh
from advice.purpose_scenes import BLEACH, CHLORINE, GRANULES
from advice.scenes import CLEAR, NOW, SHELF, TUB, a_test, reading
from tubwater.errors import InputError
from tubwater.facts import Quantity
from tubwater.facts.quantity import OxidantScale
from tubwater.services import plan_for
from tubwater.tub import Event, Plan, Product, Reading, Shelf, StepKind, TubKind
from tubwater.tub import (
    Tested as Readings,
)


def read(ph: float, alkalinity: float) -> list[Event]:
    colour = a_test(2.0, ph, method="photometer")
    drops = reading(Quantity.TOTAL_ALKALINITY, alkalinity, "drop-titration")
    return [CLEAR, replace(colour, readings=(*colour.readings, drops))]


def places(plan: Plan, kind: StepKind) -> list[int]:
    return [place for place, step in enumerate(plan.steps) if step.kind is kind]


def test_air_brings_the_ph_up_before_the_oxidizer_that_makes_acid_goes_in_and_all_of_it_at_once() -> None:
    """By common practice the pH is put right before the oxidizer; carbon dioxide leaves with the air."""
    plan = plan_for(replace(TUB, litres=1200.0), SHELF, read(7.0, 100.0), NOW)
    (air,), (dose,) = places(plan, StepKind.AERATE), places(plan, StepKind.DOSE)
    assert air < dose and plan.steps[dose].amount is not None
    assert plan.steps[dose].amount.substance == "monopersulfate"
    assert "oxidizer-waits" not in {r.kind for r in plan.notes}
    assert {e.quantity: e.median for e in plan.end}[Quantity.BROMINE] >= 3.0


def test_an_oxidizer_that_waits_for_the_ph_is_told_with_what_the_sanitizer_stays_at() -> None:
    plan = plan_for(replace(TUB, litres=1400.0), SHELF, read(6.8, 120.0), NOW)
    assert not places(plan, StepKind.DOSE) and places(plan, StepKind.AERATE)
    said = next(r for r in plan.notes if r.kind == "oxidizer-waits")
    assert float(said.values["value"]) < 3.0 and said.values["low"] == 3.0 and said.values["quantity"] == "bromine"


def test_the_oxidizer_that_bathing_needs_is_not_rounded_away() -> None:
    """Two mg/L by a strip of pH 7.2: less than a half scoop is missing, and a half scoop goes in."""
    plan = plan_for(replace(TUB, litres=1100.0), SHELF, [CLEAR, a_test(2.0, 7.2, 100.0)], NOW)
    (dose,) = (s.amount for s in plan.steps if s.kind is StepKind.DOSE)
    assert dose is not None and dose.substance == "monopersulfate" and dose.grams == 5.0


def chlorine_strip(value: float, ph: float, alkalinity: float) -> list[Event]:
    chlorine = Reading(Quantity.FREE_CHLORINE, value, value, "mg/L", "strip", NOW, OxidantScale.AS_CL2)
    rest = (reading(Quantity.PH, ph), reading(Quantity.TOTAL_ALKALINITY, alkalinity))
    return [CLEAR, Readings(NOW, (chlorine, *rest))]


@pytest.mark.parametrize(
    ("litres", "value", "ph", "alkalinity", "product", "said"),
    [(700.0, 0.0, 8.0, 40.0, GRANULES, "shock-held-back"), (1200.0, 2.0, 7.8, 60.0, BLEACH, "oxidizer-waits")],
)
def test_chlorine_that_is_low_and_gets_none_is_told_why(
    litres: float, value: float, ph: float, alkalinity: float, product: Product, said: str
) -> None:
    """Nothing on a strip may be a bleached colour; bleach would lift a pH that is nearly too high."""
    balance = tuple(p for p in SHELF.products if p.substance not in ("monopersulfate", "bcdmh"))
    events = chlorine_strip(value, ph, alkalinity)
    plan = plan_for(replace(CHLORINE, litres=litres), Shelf((*balance, product)), events, NOW)
    given = {s.amount.substance for s in plan.steps if s.kind is StepKind.DOSE and s.amount}
    assert (product.substance in given) != (said in {r.kind for r in plan.notes})


def test_fresh_water_whose_alkalinity_stays_low_behind_acid_says_that_bicarbonate_comes_next() -> None:
    tub = a_tub(6000.0, TubKind.SWIM_SPA, total_alkalinity=40.0, ph=8.5, calcium_hardness=300.0)
    plan = fresh(tub)
    assert "sodium-bicarbonate" not in {s.amount.substance for s in plan.steps if s.amount}
    said = next(r for r in plan.notes if r.kind == "bicarbonate-comes-next")
    assert float(said.values["value"]) < 60.0 == said.values["low"]


def test_a_reading_that_its_method_cannot_show_is_refused_with_what_it_does_show() -> None:
    events = [CLEAR, Readings(NOW, (reading(Quantity.CYANURIC_ACID, 30.0, "photometer"),))]
    with pytest.raises(InputError, match=r"events\[1\].readings\[0\]: got cyanuric acid, expected a quantity that the"):
        plan_for(TUB, SHELF, events, NOW)
