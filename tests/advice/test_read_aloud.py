"""Plans that were read line by line, and what a keeper or a chemist missed in them."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from advice.scenes import CLEAR, FRESH, FULL_SHELF, NOW, TUB, a_test, doses, filled_tub, kinds, reading
from tubwater.advice.worth import value_of_reading
from tubwater.facts import Quantity
from tubwater.services import plan_for, verdict_for
from tubwater.tub import (
    Clarity,
    Dosed,
    Drained,
    Event,
    FeederSet,
    Filled,
    Noticed,
    Plan,
    Product,
    Sanitizer,
    Shelf,
    Sign,
    Soaked,
    StepKind,
    Tub,
    TubKind,
    VerdictKind,
    equipment_of,
)
from tubwater.tub import Tested as Readings

SOUR = a_test(3.0, 6.8, 240.0)
BY_DROPS = Readings(
    NOW,
    (
        reading(Quantity.TOTAL_ALKALINITY, 230.0, "drop-titration"),
        reading(Quantity.CALCIUM_HARDNESS, 60.0, "drop-titration"),
    ),
)


def notes(plan: Plan) -> set[str]:
    return {reason.kind for reason in plan.notes}


def test_low_ph_with_high_alkalinity_gets_air_and_neither_acid_nor_base() -> None:
    plan = plan_for(TUB, FULL_SHELF, [CLEAR, SOUR, BY_DROPS], NOW)
    (air,) = (step for step in plan.steps if step.kind is StepKind.AERATE)
    assert not {"sodium-bisulfate", "sodium-bicarbonate", "sodium-carbonate"} & set(doses(plan))
    ph, alkalinity = air.expected
    assert 7.25 <= ph.median <= 7.45 and alkalinity.median == pytest.approx(230.0, abs=8.0)
    assert plan.next_visit - NOW < timedelta(hours=3.0)  # the air opens the tub, once it is tested


def test_air_is_held_back_and_told_where_nobody_knows_whether_lime_would_come_out() -> None:
    plan = plan_for(TUB, FULL_SHELF, [CLEAR, SOUR], NOW)
    assert StepKind.AERATE not in kinds(plan)
    assert "air-held-back" in notes(plan)


def test_a_tub_without_jets_is_told_nothing_of_air() -> None:
    still = replace(TUB, kind=TubKind.WOOD_FIRED, equipment=equipment_of(TubKind.WOOD_FIRED))
    plan = plan_for(still, FULL_SHELF, [CLEAR, SOUR, BY_DROPS], NOW)
    assert StepKind.AERATE not in kinds(plan) and "air-held-back" not in notes(plan)


def test_after_a_party_the_rest_of_the_shock_follows_the_balance_and_may_be_used_up() -> None:
    party: list[Event] = [Soaked(NOW - timedelta(hours=24.0), 6.0, 120.0)]
    plan = plan_for(TUB, FULL_SHELF, [*party, CLEAR, a_test(0.0, 7.5, 80.0)], NOW)
    why = [step.reasons[0].kind for step in plan.steps if step.kind is StepKind.DOSE]
    order = ("recover-sanitizer", "raise-alkalinity", "alkalinity-may-be-low", "rest-of-shock")
    assert why == sorted(why, key=order.index)
    assert {"recover-sanitizer", "rest-of-shock"} <= set(why)
    assert "shock-may-be-used-up" in notes(plan)


def test_no_better_test_is_said_to_bring_hours_that_alkalinity_rules_out() -> None:
    hard = filled_tub(ph=7.4, total_alkalinity=300.0, calcium_hardness=400.0)
    plan = plan_for(hard, FULL_SHELF, [CLEAR, a_test(5.0, 7.8, 240.0)], NOW)
    assert plan.outcome is not None and plan.outcome.in_band < 0.02
    assert plan.better_tests == ()


def test_what_a_reading_gains_is_hours_and_not_what_else_a_plan_is_chosen_by() -> None:
    rng = np.random.default_rng(4)
    truth = rng.uniform(6.8, 8.2, 400)
    fits = np.stack([truth < 7.5, truth >= 7.5]).astype(float)
    assert value_of_reading(fits, fits, truth, 0.05) > 0.3
    assert value_of_reading(fits, 0.0 * fits, truth, 0.05) == 0.0


GOOD = a_test(4.5, 7.5, 90.0, method="photometer")


def test_of_two_methods_at_one_moment_the_worse_counts_and_the_last_colour_is_so_much_or_more() -> None:
    assert verdict_for(TUB, FULL_SHELF, [CLEAR, GOOD], NOW).kind is VerdictKind.FIT
    strip = Readings(NOW, (reading(Quantity.BROMINE, 10.0),))
    assert verdict_for(TUB, FULL_SHELF, [CLEAR, GOOD, strip], NOW).kind is VerdictKind.KEEP_OUT


def test_a_look_of_the_same_moment_does_not_undo_what_another_saw() -> None:
    vomit = Noticed(NOW, Clarity.CLEAR, frozenset({Sign.VOMIT}))
    for looks in ([CLEAR, vomit], [vomit, CLEAR]):
        assert verdict_for(TUB, FULL_SHELF, [*looks, GOOD], NOW).kind is VerdictKind.KEEP_OUT


def test_chlorine_that_much_cyanuric_acid_holds_back_is_not_fit_and_gets_no_more_of_it() -> None:
    tub = Tub("cabin", 1300.0, Sanitizer.CHLORINE)
    shelf = Shelf((Product("granules", "dichlor", 0.99), Product("bleach", "sodium-hypochlorite", 0.1)))
    chlorine = (reading(Quantity.FREE_CHLORINE, 4.0, "photometer"), reading(Quantity.PH, 7.4, "photometer"))
    cyanurate = reading(Quantity.CYANURIC_ACID, 150.0)
    assert verdict_for(tub, shelf, [CLEAR, Readings(NOW, chlorine)], NOW).kind is VerdictKind.FIT
    events: list[Event] = [CLEAR, Readings(NOW, (*chlorine, cyanurate))]
    verdict = verdict_for(tub, shelf, events, NOW)
    assert verdict.kind is VerdictKind.NOT_YET
    assert "cyanuric acid" in {r.values.get("quantity") for r in verdict.reasons}
    plan = plan_for(tub, shelf, events, NOW)
    assert "dichlor" not in doses(plan)
    assert plan.after_soak is None or plan.after_soak.amount.product == "bleach"


def test_an_old_test_is_made_anew_before_anything_goes_in() -> None:
    before = NOW - timedelta(hours=30.0)
    plan = plan_for(TUB, FULL_SHELF, [CLEAR, a_test(4.0, 7.5, 60.0, at=before)], NOW)
    steps = [s for s in plan.steps if s.kind in (StepKind.TEST, StepKind.DOSE, StepKind.SET_FEEDER)]
    assert steps[0].kind is StepKind.TEST and steps[0].reasons[0].kind == "test-is-old"
    assert Quantity.BROMINE in steps[0].quantities


def test_water_that_was_filled_in_today_is_not_filled_in_again() -> None:
    tub = filled_tub(ph=7.4, total_alkalinity=60.0, calcium_hardness=80.0)
    at = NOW - timedelta(hours=3.0)
    events: list[Event] = [Drained(at, 1300.0), Filled(at, 1300.0), a_test(1.0, 7.4, 60.0)]
    plan = plan_for(tub, FULL_SHELF, events, NOW, FRESH)
    assert StepKind.FILL not in kinds(plan)


def test_while_too_much_falls_nothing_is_fed_and_one_moment_has_one_number() -> None:
    fed: list[Event] = [FeederSet(NOW - timedelta(days=1.0), "tablets", 3, 1.0)]
    drops = Readings(NOW, (reading(Quantity.BROMINE, 15.0, "fas-dpd-drops"), reading(Quantity.PH, 7.5)))
    plan = plan_for(TUB, FULL_SHELF, [*fed, CLEAR, drops], NOW)
    assert plan.situation == "too-high"
    assert plan.steps[-1].kind is StepKind.TEST and plan.steps[-1].expected == plan.end


def test_the_wait_for_an_oxidizer_is_what_is_left_of_it() -> None:
    def waits(minutes: float) -> float:
        given = Dosed(NOW - timedelta(minutes=minutes), "oxidizer", 30.0)
        plan = plan_for(TUB, FULL_SHELF, [CLEAR, given, a_test(4.0, 7.5, 90.0)], NOW)
        return sum(s.minutes for s in plan.steps if s.kind is StepKind.WAIT)

    assert 20.0 < waits(50.0) < waits(25.0)
    assert waits(25.0) - waits(50.0) == pytest.approx(25.0, abs=8.0)


def test_a_purple_colour_beside_a_low_reading_is_tested_again_and_not_dosed() -> None:
    purple = Noticed(NOW, Clarity.CLEAR, frozenset({Sign.PURPLE_INDICATOR}))
    plan = plan_for(TUB, FULL_SHELF, [purple, a_test(2.0, 7.8, 90.0)], NOW)
    assert plan.situation == "test-first" and doses(plan) == []


def test_nothing_is_said_to_hold_acid_or_air_back_where_it_is_not_so() -> None:
    sour = plan_for(filled_tub(ph=6.2, total_alkalinity=8.0), FULL_SHELF, [CLEAR, a_test(4.0, 6.2, 10.0)], NOW)
    assert "air-held-back" not in notes(sour)  # too little alkalinity, not carbon dioxide
    high = plan_for(TUB, FULL_SHELF, [CLEAR, a_test(4.0, 8.2, 140.0, method="photometer")], NOW)
    assert "acid-held-back" not in notes(high)


def test_cyanuric_acid_that_asks_for_remediation_keeps_people_out_of_a_public_tub() -> None:
    tub = Tub("spa", 1300.0, Sanitizer.CHLORINE, guideline="us-public")
    chlorine = (reading(Quantity.FREE_CHLORINE, 4.0, "photometer"), reading(Quantity.PH, 7.4, "photometer"))
    much = Readings(NOW, (*chlorine, reading(Quantity.CYANURIC_ACID, 150.0)))
    verdict = verdict_for(tub, FULL_SHELF, [CLEAR, much], NOW)
    (told,) = (r for r in verdict.reasons if r.values.get("quantity") == "cyanuric acid")
    assert (told.kind, told.values["above"]) == ("reading-far-high", 150.0)  # the strip ends there: so much or more
