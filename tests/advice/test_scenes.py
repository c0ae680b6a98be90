"""Tub-side scenes: what a keeper meets, and what has to come out (kinds, not wording)."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from advice.scenes import (
    CLEAR,
    FRESH,
    FULL_SHELF,
    NOW,
    SHELF,
    TUB,
    a_test,
    doses,
    filled_tub,
    kinds,
    reading,
)
from tubwater.advice import Occasion, Wishes
from tubwater.advice.evenings import taken_share
from tubwater.facts import Quantity
from tubwater.services import plan_for, verdict_for
from tubwater.services.advise import case_of
from tubwater.tub import (
    Cared,
    Clarity,
    Dosed,
    Equipment,
    Event,
    FeederSet,
    Filled,
    Noticed,
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
from tubwater.tub import (
    Tested as Readings,
)


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
    assert kinds(plan)[:3] == [StepKind.KEEP_OUT, StepKind.TEST, StepKind.SET_FEEDER]
    assert plan.steps[1].reasons[0].kind == "dilute-to-read" and plan.steps[2].tablets == 0.0
    assert plan.next_visit > NOW + timedelta(hours=2)


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
    assert all(s.minutes >= 40.0 for s in plan.steps if s.kind is StepKind.WAIT and not s.covered)


@pytest.mark.parametrize(("bromine", "ph", "alkalinity"), [(1.0, 7.8, 80.0), (3.0, 7.2, 40.0), (5.0, 7.8, 180.0)])
def test_a_plan_keeps_its_order_its_waits_and_one_kind_of_balance(bromine: float, ph: float, alkalinity: float) -> None:
    plan = plan_for(TUB, SHELF, [CLEAR, a_test(bromine, ph, alkalinity)], NOW)
    added = doses(plan)
    assert not {"sodium-bisulfate", "sodium-carbonate"} <= set(added)
    starts = [s.starts_at for s in plan.steps if s.kind is StepKind.DOSE]
    assert bool(np.all(np.diff(starts) >= 20.0))
    closed = kinds(plan).index(StepKind.COVER)
    assert kinds(plan)[closed - 1] is StepKind.VENT
    assert kinds(plan)[closed + 1 :] in ([], [StepKind.WAIT, StepKind.TEST])  # the test that opens the tub
    assert plan.fit_when


def test_the_same_logbook_and_seed_give_the_same_plan() -> None:
    events = [CLEAR, a_test(3.0, 7.8, 120.0)]
    assert plan_for(TUB, SHELF, events, NOW, seed=4) == plan_for(TUB, SHELF, events, NOW, seed=4)


def test_the_lever_after_a_soak_is_planned_in_the_keepers_own_scoop() -> None:
    plan = plan_for(TUB, SHELF, [CLEAR, a_test(3.0, 7.5, 80.0)], NOW)
    assert plan.after_soak is not None
    assert plan.after_soak.amount.measure == "scoop"
    assert plan.after_soak.amount.grams == pytest.approx(10.0 * plan.after_soak.amount.count)
    assert plan.after_soak.daily_cap_grams % 5.0 == pytest.approx(0.0)  # half scoops are what can be measured


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


def test_tablets_of_another_kind_in_the_feeder_come_out_and_a_fresh_feeder_is_laid_out_first() -> None:
    shelf = Shelf((*SHELF.products, Product("chlorine tablets", "trichlor", 0.9, tablet_grams=20.0)))
    wrong = FeederSet(NOW - timedelta(days=1), "chlorine tablets", 3.0, 0.5)
    plan = plan_for(TUB, shelf, [wrong, CLEAR, a_test(3.0, 7.5, 80.0)], NOW)
    at = next(n for n, s in enumerate(plan.steps) if s.kind is StepKind.SET_FEEDER and s.tablets)
    assert [s.task for s in plan.steps[at - 2 : at]] == ["stop-feeding", "fresh-feeder"]
    assert "one-family-in-feeder" in plan.steps[at - 1].cautions
    assert "left" not in plan.steps[at].reasons[0].values


def test_water_that_owes_more_than_two_visits_can_pay_is_changed_in_part() -> None:
    """Eight people for four hours: 7.5 g of bromine each an hour (the default) are 185 mg/L in 1,300 L."""
    party = Soaked(NOW - timedelta(hours=10), 8.0, 240.0)
    plan = plan_for(TUB, SHELF, [party, CLEAR, a_test(0.0, 7.5, 80.0)], NOW)
    drains = [s for s in plan.steps if s.kind is StepKind.DRAIN]
    assert [r.kind for s in drains for r in s.reasons] == ["water-owes-too-much"]
    assert 0.3 * TUB.litres <= drains[0].litres <= 0.6 * TUB.litres
    fewer = plan_for(TUB, SHELF, [replace(party, people=2.0, minutes=30.0), CLEAR, a_test(0.0, 7.5, 80.0)], NOW)
    assert not [s for s in fewer.steps if s.kind is StepKind.DRAIN]


def test_fresh_water_is_filled_sanitized_heated_balanced_and_activated_in_this_order() -> None:
    heated = replace(TUB, equipment=Equipment(heater_kw=2.0))
    plan = plan_for(heated, FULL_SHELF, [], NOW, FRESH)
    order = [k for k in kinds(plan) if k in (StepKind.FILL, StepKind.HEAT, StepKind.SET_FEEDER)]
    assert plan.situation == "fresh-fill"
    assert order == [StepKind.FILL, StepKind.HEAT, StepKind.SET_FEEDER]
    assert doses(plan)[:2] == ["sodium-bromide", "monopersulfate"]  # the bank alone, then the oxidizer
    assert doses(plan).count("sodium-bromide") == 1
    heating = next(s for s in plan.steps if s.kind is StepKind.HEAT)
    assert 15 * 60 < heating.minutes < 30 * 60  # 1,300 L by 26 K with 2 kW: about 20 hours (calculation)


def test_fresh_water_opens_only_after_two_good_tests_a_day_apart() -> None:
    plan = plan_for(TUB, FULL_SHELF, [], NOW, FRESH)
    tests = [s.starts_at for s in plan.steps if s.kind is StepKind.TEST]
    assert tests[-1] - tests[-2] >= 24 * 60
    assert "two-good-tests-a-day-apart" in {r.kind for r in plan.fit_when}
    assert plan.verdict.kind is not VerdictKind.FIT


def test_fresh_water_that_cannot_be_ready_for_the_guests_says_so() -> None:
    wishes = replace(FRESH, guests_at=NOW + timedelta(hours=20))
    notes = {r.kind for r in plan_for(TUB, FULL_SHELF, [], NOW, wishes).notes}
    assert "not-ready-in-time" in notes


def test_soft_fill_gets_alkalinity_and_calcium_with_a_test_to_come() -> None:
    soft = filled_tub(total_alkalinity=25.0, calcium_hardness=20.0, ph=7.2)
    plan = plan_for(soft, FULL_SHELF, [], NOW, FRESH)
    assert {"sodium-bicarbonate", "calcium-chloride-dihydrate"} <= set(doses(plan))
    assert doses(plan).index("sodium-bicarbonate") < doses(plan).index("calcium-chloride-dihydrate")
    assert "retest-tells" in {r.kind for s in plan.steps for r in s.reasons}


def test_very_hard_fill_is_blended_with_soft_water_and_gets_no_calcium() -> None:
    hard = filled_tub(total_alkalinity=300.0, calcium_hardness=450.0, ph=7.3)
    plan = plan_for(hard, FULL_SHELF, [], NOW, FRESH)
    filling = next(s for s in plan.steps if s.kind is StepKind.FILL)
    blend = next(r for r in filling.reasons if r.kind == "blend-fill")
    assert float(blend.values["share"]) == pytest.approx(1.0 - 250.0 / 450.0, abs=0.05)
    assert "calcium-chloride-dihydrate" not in doses(plan)


def test_a_thin_bank_makes_the_window_longer_and_is_told() -> None:
    filled = Filled(NOW - timedelta(days=10), 1300.0)
    events = [filled, CLEAR, a_test(3.0, 7.5, 80.0)]
    thin = plan_for(TUB, SHELF, events, NOW)
    usual = plan_for(TUB, SHELF, events[1:], NOW)
    assert "thin-bank" in {r.kind for r in thin.notes}
    assert "thin-bank" not in {r.kind for r in usual.notes}
    assert (
        thin.after_soak is None
        or usual.after_soak is None
        or (thin.after_soak.wait_minutes > usual.after_soak.wait_minutes)
    )


def test_a_thin_bank_is_filled_up_once_where_sodium_bromide_is_in_hand() -> None:
    events: list[Event] = [Filled(NOW - timedelta(days=10), 1300.0), CLEAR, a_test(3.0, 7.5, 80.0)]
    assert "sodium-bromide" in doses(plan_for(TUB, FULL_SHELF, events, NOW))
    once = [events[0], Dosed(NOW - timedelta(days=9), "bromide", 20.0), *events[1:]]
    assert "sodium-bromide" not in doses(plan_for(TUB, FULL_SHELF, once, NOW))


def test_hardness_that_only_water_removes_is_changed_with_this_fill_water() -> None:
    soft = filled_tub(total_alkalinity=60.0, calcium_hardness=60.0, ph=7.5)
    hard = Readings(
        NOW, (*a_test(4.0, 7.4, 80.0).readings, reading(Quantity.CALCIUM_HARDNESS, 600.0, "drop-titration"))
    )
    plan = plan_for(soft, FULL_SHELF, [CLEAR, hard], NOW)
    drain = next(s for s in plan.steps if s.kind is StepKind.DRAIN)
    filling = next(s for s in plan.steps if s.kind is StepKind.FILL)
    assert 0.1 * 1300.0 < drain.litres <= 0.55 * 1300.0
    after = {e.quantity: e.median for e in filling.expected}
    assert after[Quantity.CALCIUM_HARDNESS] == pytest.approx(600.0 - (600.0 - 60.0) * drain.litres / 1300.0, rel=0.1)


def test_water_as_hard_as_the_tap_is_not_changed_for_the_same() -> None:
    same = filled_tub(total_alkalinity=280.0, calcium_hardness=550.0, ph=7.5)
    hard = Readings(
        NOW, (*a_test(4.0, 7.4, 80.0).readings, reading(Quantity.CALCIUM_HARDNESS, 600.0, "drop-titration"))
    )
    assert StepKind.DRAIN not in kinds(plan_for(same, FULL_SHELF, [CLEAR, hard], NOW))


def test_unknown_water_that_tests_badly_is_purged_and_changed() -> None:
    wishes = Wishes(occasion=Occasion.UNKNOWN_HISTORY)
    plan = plan_for(TUB, FULL_SHELF, [CLEAR, a_test(0.5, 7.5)], NOW, wishes)
    assert plan.situation == "new-to-me"
    assert "purge-pipes" in {s.task for s in plan.steps}
    assert kinds(plan).index(StepKind.DRAIN) < kinds(plan).index(StepKind.FILL)


def test_unknown_water_that_tests_well_is_shocked_and_read_twice() -> None:
    wishes = Wishes(occasion=Occasion.UNKNOWN_HISTORY)
    plan = plan_for(TUB, FULL_SHELF, [CLEAR, a_test(4.0, 7.5, method="photometer")], NOW, wishes)
    assert plan.situation == "new-to-me" and StepKind.DRAIN not in kinds(plan)
    assert "two-good-readings" in {r.kind for r in plan.fit_when}


def test_unknown_water_without_a_test_is_tested_first() -> None:
    plan = plan_for(TUB, FULL_SHELF, [], NOW, Wishes(occasion=Occasion.UNKNOWN_HISTORY))
    assert doses(plan) == [] and StepKind.TEST in kinds(plan)


def test_a_low_reading_with_no_good_one_in_the_day_before_is_a_lapse_of_unknown_length() -> None:
    low, good = (
        a_test(1.0, 7.5, method="photometer"),
        a_test(5.0, 7.5, method="photometer", at=NOW + timedelta(hours=2)),
    )
    later = NOW + timedelta(hours=3)
    clear = Noticed(later, Clarity.CLEAR)
    one = verdict_for(TUB, SHELF, [low, good, clear], later)
    assert one.kind is VerdictKind.KEEP_OUT and "lapse-unknown" in {r.kind for r in one.reasons}
    second = a_test(5.0, 7.5, method="photometer", at=NOW + timedelta(hours=15))
    then = NOW + timedelta(hours=16)
    two = verdict_for(TUB, SHELF, [low, good, second, Noticed(then, Clarity.CLEAR)], then)
    assert "lapse-unknown" not in {r.kind for r in two.reasons}


def test_a_low_reading_soon_after_a_good_one_is_no_lapse() -> None:
    good = a_test(4.0, 7.5, method="photometer", at=NOW - timedelta(hours=10))
    verdict = verdict_for(TUB, SHELF, [good, a_test(1.5, 7.5, method="photometer"), CLEAR], NOW)
    assert verdict.kind is VerdictKind.KEEP_OUT
    assert "lapse-unknown" not in {r.kind for r in verdict.reasons}


def test_strip_and_drop_kit_that_disagree_lead_to_another_test() -> None:
    strip = reading(Quantity.BROMINE, 5.0)
    drops = reading(Quantity.BROMINE, 0.5, "fas-dpd-drops")
    plan = plan_for(TUB, SHELF, [CLEAR, Readings(NOW, (strip, drops, reading(Quantity.PH, 7.5)))], NOW)
    assert plan.verdict.kind is not VerdictKind.FIT


def test_care_that_is_due_stands_inside_the_waits_and_adds_no_time_but_where_the_pump_is_off() -> None:
    plan = plan_for(TUB, SHELF, [CLEAR, a_test(3.0, 7.9, 140.0)], NOW)
    waits = [(s.starts_at, s.starts_at + s.minutes) for s in plan.steps if s.kind is StepKind.WAIT]
    moving = next(s.starts_at for s in plan.steps if s.kind is StepKind.PREPARE)
    off = [s for s in plan.steps if s.task and "electric-off" in s.cautions]
    beside = [s for s in plan.steps if s.task and s not in off]
    assert beside and off and all(s.starts_at + s.minutes <= moving for s in off)
    assert all(any(a <= s.starts_at and s.starts_at + s.minutes <= b for a, b in waits) for s in beside)


def test_care_that_was_done_yesterday_is_not_due() -> None:
    done: list[Event] = [Cared(NOW - timedelta(days=1), "inspect-suction-covers")]
    plan = plan_for(TUB, SHELF, [*done, CLEAR, a_test(3.0, 7.9, 140.0)], NOW)
    assert "inspect-suction-covers" not in {s.task for s in plan.steps}


@pytest.mark.parametrize(
    ("kind", "factor"), [(TubKind.INFLATABLE, 1.5), (TubKind.WOOD_FIRED, 2.0), (TubKind.ACRYLIC, 1.0)]
)
def test_the_waits_follow_from_what_the_tub_has(kind: TubKind, factor: float) -> None:
    tub = Tub("cabin", 1000.0, Sanitizer.BROMINE, kind=kind, equipment=equipment_of(kind))
    plan = plan_for(tub, SHELF, [CLEAR, a_test(3.0, 7.9, 140.0)], NOW)
    waits = [s.minutes for s in plan.steps if s.kind is StepKind.WAIT]
    assert waits and min(waits) == pytest.approx(20.0 * factor)


def test_part_of_an_acid_dose_goes_in_before_the_test_that_can_tell() -> None:
    plan = plan_for(TUB, SHELF, [CLEAR, a_test(4.0, 8.2, 140.0, method="photometer")], NOW)
    assert "sodium-bisulfate" in doses(plan)
    tells = [r for s in plan.steps if s.kind is StepKind.TEST for r in s.reasons if r.kind == "retest-tells"]
    assert tells and float(tells[0].values["grams"]) > 0.0


def test_a_keeper_who_never_doses_after_a_soak_is_not_planned_for_as_if_he_did() -> None:
    soaks = [Soaked(NOW - timedelta(days=d, hours=12), 2.0, 30.0) for d in range(1, 13)]
    given: list[Event] = [Dosed(s.at + timedelta(minutes=40), "oxidizer", 20.0) for s in soaks]
    never = case_of(TUB, SHELF, list(soaks), NOW, members=64)
    always = case_of(TUB, SHELF, [*soaks, *given], NOW, members=64)
    assert taken_share(never) < 0.3 < 0.9 < taken_share(always)


def test_a_test_without_a_reading_changes_nothing() -> None:
    silent = Readings(NOW - timedelta(minutes=6), ())
    told = [CLEAR, a_test(4.0, 7.5, 90.0)]
    assert verdict_for(TUB, SHELF, [silent, CLEAR], NOW).kind is VerdictKind.NOT_YET
    assert verdict_for(TUB, SHELF, [silent, *told], NOW) == verdict_for(TUB, SHELF, told, NOW)
