"""Plans that were read line by line, and what a keeper or a chemist missed in them."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from advice.scenes import CLEAR, FULL_SHELF, NOW, TUB, a_test, doses, filled_tub, kinds, reading
from tubwater.advice.worth import value_of_reading
from tubwater.facts import Quantity
from tubwater.services import plan_for
from tubwater.tub import Event, Plan, Soaked, StepKind, TubKind, equipment_of
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
    assert why == sorted(why, key=("recover-sanitizer", "raise-alkalinity", "rest-of-shock").index)
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
