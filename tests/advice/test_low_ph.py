"""A low pH beside too little sanitizer: what goes in first, and what is said of the oxidizer."""

from __future__ import annotations

from dataclasses import replace

from advice.scenes import CLEAR, NOW, SHELF, TUB, a_test, reading
from tubwater.facts import Quantity
from tubwater.services import plan_for
from tubwater.tub import Event, Plan, StepKind


def read(ph: float, alkalinity: float) -> list[Event]:
    colour, drops = (
        a_test(2.0, ph, method="photometer"),
        reading(Quantity.TOTAL_ALKALINITY, alkalinity, "drop-titration", NOW),
    )
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
