"""Tub-side scenes: what a keeper meets, and what has to come out (kinds, not wording)."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from tubwater.advice import Wishes
from tubwater.facts import Quantity
from tubwater.facts.quantity import OxidantScale
from tubwater.services import plan_for, verdict_for
from tubwater.tub import (
    Answer,
    Clarity,
    Dosed,
    Equipment,
    Measure,
    MeasureKind,
    Noticed,
    Plan,
    Product,
    Reading,
    Sanitizer,
    Shelf,
    Sign,
    StepKind,
    Tub,
    VerdictKind,
)
from tubwater.tub import (
    Tested as Readings,
)

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
TUB = Tub("cabin", 1300.0, Sanitizer.BROMINE)
SCOOP = (Measure(MeasureKind.SCOOP, 10.0),)
SHELF = Shelf(
    (
        Product("dry acid", "sodium-bisulfate", 0.93, SCOOP),
        Product("bicarbonate", "sodium-bicarbonate", 0.99, SCOOP),
        Product("soda ash", "sodium-carbonate", 0.99, SCOOP),
        Product("oxidizer", "monopersulfate", 0.88, SCOOP),
        Product("tablets", "bcdmh", 0.96, tablet_grams=20.0),
    )
)
CLEAR = Noticed(NOW, Clarity.CLEAR, unlogged_soak=Answer.NO)


def reading(quantity: Quantity, value: float, method: str = "strip", at: datetime = NOW) -> Reading:
    scale = OxidantScale.AS_BR2 if quantity is Quantity.BROMINE else None
    unit = "pH" if quantity is Quantity.PH else "mg/L"
    return Reading(quantity, value, value, unit, method, at, scale)


def a_test(
    bromine: float, ph: float, alkalinity: float | None = None, method: str = "strip", at: datetime = NOW
) -> Readings:
    found = [reading(Quantity.BROMINE, bromine, method, at), reading(Quantity.PH, ph, method, at)]
    if alkalinity is not None:
        found.append(reading(Quantity.TOTAL_ALKALINITY, alkalinity, "strip", at))
    return Readings(at, tuple(found))


def kinds(plan: Plan) -> list[StepKind]:
    return [step.kind for step in plan.steps]


def doses(plan: Plan) -> list[str]:
    return [step.amount.substance for step in plan.steps if step.kind is StepKind.DOSE and step.amount]


def test_a_good_photometer_test_of_clear_water_is_fit_for_a_while() -> None:
    verdict = verdict_for(TUB, SHELF, [CLEAR, a_test(5.0, 7.5, method="photometer")], NOW)
    assert verdict.kind is VerdictKind.FIT
    assert verdict.people >= 1
    assert NOW < verdict.good_until <= NOW + timedelta(hours=24)


@pytest.mark.parametrize("clarity", [Clarity.UNKNOWN, Clarity.HAZY, Clarity.CLOUDY])
def test_nobody_is_told_fit_while_the_drain_was_not_seen(clarity: Clarity) -> None:
    events = [Noticed(NOW, clarity), a_test(5.0, 7.5, method="photometer")]
    assert verdict_for(TUB, SHELF, events, NOW).kind is not VerdictKind.FIT


@pytest.mark.parametrize("sign", [s for s in Sign if s is not Sign.PURPLE_INDICATOR])
def test_every_sign_keeps_people_out_and_nothing_is_added_for_the_gravest(sign: Sign) -> None:
    events = [Noticed(NOW, Clarity.CLEAR, frozenset({sign})), a_test(5.0, 7.5, method="photometer")]
    assert verdict_for(TUB, SHELF, events, NOW).kind is VerdictKind.KEEP_OUT


def test_an_old_test_does_not_open_the_tub() -> None:
    old = NOW - timedelta(hours=30)
    verdict = verdict_for(TUB, SHELF, [a_test(5.0, 7.5, method="photometer", at=old), CLEAR], NOW)
    assert verdict.kind is not VerdictKind.FIT
    assert "reading-too-old" in {r.kind for r in verdict.reasons}


def test_readings_that_cannot_both_be_right_lead_to_a_test_and_not_to_a_dose() -> None:
    odd = Readings(NOW, (*a_test(3.0, 8.4).readings, reading(Quantity.TOTAL_ALKALINITY, 10.0, "drop-titration")))
    plan = plan_for(TUB, SHELF, [CLEAR, odd], NOW)
    assert doses(plan) == []
    assert StepKind.TEST in kinds(plan)
    assert "readings-do-not-fit" in {r.kind for r in plan.verdict.reasons}


def test_bromine_zero_after_a_week_is_a_recovery_that_ends_in_keep_out_until_two_good_tests() -> None:
    lapse = Noticed(NOW, Clarity.CLEAR, lapse_hours=100.0)
    plan = plan_for(TUB, SHELF, [lapse, a_test(0.0, 7.6, 80.0)], NOW)
    assert plan.verdict.kind is VerdictKind.KEEP_OUT
    assert plan.situation == "recovery"
    assert doses(plan)[0] == "monopersulfate"
    assert StepKind.CLEAN in kinds(plan)
    assert "two-good-readings" in {r.kind for r in plan.fit_when}


def test_zero_right_after_a_big_dose_is_bleached_and_nothing_is_added() -> None:
    dosed = Dosed(NOW - timedelta(hours=2), "oxidizer", 80.0)
    plan = plan_for(TUB, SHELF, [dosed, CLEAR, a_test(0.0, 7.6, 80.0)], NOW)
    assert doses(plan) == []
    assert kinds(plan)[0] is StepKind.KEEP_OUT


def test_a_reading_inside_the_monopersulfate_window_counts_for_nothing() -> None:
    dosed = Dosed(NOW - timedelta(minutes=25), "oxidizer", 10.0)
    plan = plan_for(TUB, SHELF, [dosed, CLEAR, a_test(5.0, 7.5, 80.0, method="photometer")], NOW)
    assert plan.verdict.kind is not VerdictKind.FIT
    assert doses(plan) == []
    assert StepKind.WAIT in kinds(plan)


def test_a_chlorine_tablet_is_refused_for_the_bromine_feeder() -> None:
    shelf = Shelf((*SHELF.products[:4], Product("chlorine tablets", "trichlor", 0.9, tablet_grams=20.0)))
    plan = plan_for(TUB, shelf, [CLEAR, a_test(3.0, 7.5, 80.0)], NOW)
    assert "isocyanurate-in-bromine" in {r.kind for r in plan.refused}
    assert StepKind.SET_FEEDER not in kinds(plan)


def test_without_a_pump_the_waits_double_and_the_water_is_stirred() -> None:
    tub = Tub("stove", 1300.0, Sanitizer.BROMINE, equipment=Equipment(False, False, False))
    plan = plan_for(tub, SHELF, [CLEAR, a_test(1.0, 8.0, 140.0)], NOW)
    assert "stir-by-hand" in {r.kind for s in plan.steps for r in s.reasons}
    assert all(s.minutes >= 40.0 for s in plan.steps if s.kind is StepKind.WAIT)


@pytest.mark.parametrize(("bromine", "ph", "alkalinity"), [(1.0, 7.8, 80.0), (3.0, 7.2, 40.0), (5.0, 7.8, 180.0)])
def test_a_plan_keeps_its_order_its_waits_and_one_kind_of_balance(bromine: float, ph: float, alkalinity: float) -> None:
    plan = plan_for(TUB, SHELF, [CLEAR, a_test(bromine, ph, alkalinity)], NOW)
    added = doses(plan)
    assert not ({"sodium-bisulfate"} & set(added) and {"sodium-bicarbonate", "sodium-carbonate"} & set(added))
    starts = [s.starts_at for s in plan.steps if s.kind is StepKind.DOSE]
    assert bool(np.all(np.diff(starts) >= 20.0))
    assert kinds(plan)[-2:] == [StepKind.VENT, StepKind.COVER]
    assert plan.fit_when


def test_the_same_logbook_and_seed_give_the_same_plan() -> None:
    events = [CLEAR, a_test(3.0, 7.8, 120.0)]
    assert plan_for(TUB, SHELF, events, NOW, seed=4) == plan_for(TUB, SHELF, events, NOW, seed=4)


def test_the_lever_after_a_soak_is_planned_in_the_keepers_own_scoop() -> None:
    plan = plan_for(TUB, SHELF, [CLEAR, a_test(3.0, 7.5, 80.0)], NOW)
    assert plan.after_soak is not None
    assert plan.after_soak.amount.measure == "scoop"
    assert plan.after_soak.amount.grams == pytest.approx(10.0 * plan.after_soak.amount.count)


def test_twenty_five_minutes_add_the_sanitizer_and_hand_the_rest_to_a_named_person() -> None:
    wishes = Wishes(minutes=25.0, later_by="the neighbour")
    plan = plan_for(TUB, SHELF, [CLEAR, a_test(1.0, 7.8, 180.0)], NOW, wishes)
    assert set(doses(plan)) <= {"monopersulfate"}
    assert plan.steps[-1].kind is StepKind.HAND_OVER
    assert plan.steps[-1].by == "the neighbour"


def test_guests_at_four_are_told_when_it_cannot_be_ready() -> None:
    wishes = Wishes(guests_at=NOW + timedelta(minutes=30))
    plan = plan_for(TUB, SHELF, [CLEAR, a_test(0.0, 7.8, 120.0)], NOW, wishes)
    assert "not-ready-in-time" in {r.kind for r in plan.notes}


@pytest.mark.parametrize("bromine", [0.0, 1.0, 2.0, 10.0])
def test_a_strip_outside_the_bathing_limits_never_opens_the_tub(bromine: float) -> None:
    verdict = verdict_for(TUB, SHELF, [CLEAR, a_test(bromine, 7.5, 80.0)], NOW)
    assert verdict.kind is not VerdictKind.FIT


def test_alkalinity_forty_with_ph_eight_point_two_gets_no_acid() -> None:
    plan = plan_for(TUB, SHELF, [CLEAR, a_test(5.0, 8.2, 40.0, method="visual-comparator")], NOW)
    assert "sodium-bisulfate" not in doses(plan)
