"""Before and after many people. What bathers bring: Bradford 2014 and Berg 2019 for pools, carried over (judgement)."""

from __future__ import annotations

from datetime import timedelta
from itertools import pairwise

import pytest

from advice.purpose_scenes import BOTH, CHLORINE, GOOD, about, note, notes, of
from advice.scenes import CLEAR, NOW, SHELF, a_test
from tubwater.advice import Wishes
from tubwater.facts import Quantity, defaults
from tubwater.reports.plain import step_text
from tubwater.tub import Dosed, Plan, Shelf, Soaked, StepKind, VerdictKind

CARRIES = {"party-in-groups", "party-too-much"}
BATHES = {"party-runs", "party-runs-one"}


def oxidizer(plan: Plan) -> float:
    """Grams of what goes in after the people, g."""
    doses = [s for s in of(plan, StepKind.DOSE) if {r.kind for r in s.reasons} & {"after-so-many"}]
    return sum(s.amount.grams for s in doses if s.amount)


def test_a_party_is_made_ready_tested_bathed_tested_and_dosed() -> None:
    plan = about("before-party", people=4.0, minutes=60.0, hours=4.0)
    kinds = [r.kind for s in plan.steps for r in s.reasons]
    kinds = ["party-runs" if kind in BATHES else kind for kind in kinds]
    wanted = ["party-before", "party-runs", "party-over", "after-so-many", "night-under-cover", "morning-after"]
    assert list(dict.fromkeys(k for k in kinds if k in wanted)) == wanted
    test = next(s for s in plan.steps if "party-before" in {r.kind for r in s.reasons})
    assert test.starts_at >= 240.0 - 1e-6
    assert {"shower-first", "heat-and-drink"} <= notes(plan)


def test_what_so_many_use_up_is_people_times_minutes() -> None:
    """7.5 g of bromine a bather-hour in the middle (judgement between two published figures), over 1,200 L."""
    few = note(about("before-party", people=2.0, minutes=30.0), "party-uses")
    many = note(about("before-party", people=4.0, minutes=60.0, hours=4.0), "party-uses")
    assert float(many.values["value"]) == pytest.approx(4.0 * float(few.values["value"]))
    grams = defaults()["bather_demand_g_br2_per_hour"].value
    assert float(few.values["value"]) == pytest.approx(grams * 1.0 / (1300.0 * 0.92) * 1000.0, rel=0.25)


def test_a_party_that_the_water_does_not_carry_is_told_so_with_the_wait_between_groups() -> None:
    """Below 2 mg/L after two to four people in one study; a dose of monopersulfate needs its reaction."""
    (told,) = [r for r in about("before-party", people=4.0, minutes=60.0, hours=4.0).notes if r.kind in CARRIES]
    assert float(told.values["count"]) < float(told.values["wanted"]) == 8.0 and float(told.values["wait"]) >= 30.0


def test_a_party_is_bathed_in_groups_with_a_test_before_and_a_dose_between() -> None:
    plan = about("before-party", people=6.0, minutes=60.0, hours=4.0)
    groups = [n for n, s in enumerate(plan.steps) if {r.kind for r in s.reasons} & BATHES]
    assert len(groups) > 1 and "bathe" in step_text(plan.steps[groups[0]])
    assert "Wait" not in step_text(plan.steps[groups[0]])
    for before, after in pairwise(groups):
        between = plan.steps[before + 1 : after]
        assert between[0].kind is between[-1].kind is StepKind.TEST
        assert Quantity.PH in between[-1].quantities
    dosed = [s for s in plan.steps[groups[0] : groups[-1]] if s.amount]
    assert dosed and all(s.amount.grams > 0.0 for s in dosed if s.amount)
    baths = [r.values for n in groups for r in plan.steps[n].reasons if r.kind in BATHES]
    taken = sum(float(b["people"]) * float(b["minutes"]) / 30.0 for b in baths)
    waits = note(plan, "party-waits").values
    assert taken == pytest.approx(float(waits["count"])) and float(waits["rest"]) == pytest.approx(12.0 - taken)


def test_few_people_bathe_at_once() -> None:
    plan = about("before-party", people=1.0, minutes=20.0)
    (group,) = [r.values for s in plan.steps for r in s.reasons if r.kind in BATHES]
    assert (group["people"], group["minutes"]) == (1.0, 20.0) and "party-waits" not in notes(plan)


def test_more_people_get_more_oxidizer_afterwards_up_to_the_caps_and_the_rest_is_told() -> None:
    few, many = (
        about("after-soak", people=1.0, minutes=30.0),
        about("after-soak", people=6.0, minutes=60.0),
    )
    assert 0.0 < oxidizer(few) <= oxidizer(many)
    assert float(note(many, "party-rest").values["grams"]) > 0.0


def test_nobody_gets_in_on_the_next_day_before_a_test_of_the_morning() -> None:
    plan = about("before-party", people=4.0, minutes=60.0, hours=4.0)
    assert "after-it-the-morning" in {r.kind for r in plan.fit_when}
    assert 8 <= plan.next_visit.hour < 22 and plan.next_visit - NOW >= timedelta(hours=14)


def test_the_time_of_the_guests_is_kept() -> None:
    wishes = Wishes(guests_at=NOW + timedelta(hours=8))
    plan = about("before-party", wishes=wishes, people=2.0, minutes=30.0)
    test = next(s for s in plan.steps if "party-before" in {r.kind for r in s.reasons})
    assert test.starts_at == pytest.approx(480.0)


def test_lost_sanitizer_comes_before_a_party() -> None:
    plan = about("before-party", events=(CLEAR, a_test(0.0, 7.5, 90.0)))
    assert plan.situation == "recovery" and "before-the-party" in notes(plan)


def test_after_a_soak_the_dose_goes_in_at_once_and_everybody_stays_out_until_tested() -> None:
    plan = about("after-soak", people=4.0, minutes=45.0)
    assert plan.steps[0].kind is StepKind.KEEP_OUT or plan.verdict.kind is VerdictKind.FIT
    assert oxidizer(plan) > 0.0
    assert plan.steps[-1].quantities == (Quantity.BROMINE, Quantity.PH)
    assert plan.next_visit > NOW + timedelta(hours=10)


def test_a_soak_that_was_noted_is_not_counted_twice() -> None:
    noted = about(
        "after-soak", events=(*GOOD, Soaked(NOW - timedelta(minutes=10), 2.0, 30.0)), people=2.0, minutes=30.0
    )
    said = about("after-soak", people=2.0, minutes=30.0)
    assert 0.0 < oxidizer(noted) <= oxidizer(said)  # the test after the soak shows what went at once


def test_a_chlorine_tub_is_dosed_with_chlorine_after_a_soak() -> None:
    plan = about("after-soak", CHLORINE, people=2.0, minutes=30.0)
    assert {s.amount.substance for s in of(plan, StepKind.DOSE) if s.amount} <= {
        "sodium-hypochlorite",
        "dichlor-dihydrate",
    }
    assert plan.steps[-1].quantities[0] is Quantity.FREE_CHLORINE


def test_without_an_oxidizer_the_tub_stays_shut_after_them() -> None:
    shelf = Shelf(tuple(p for p in SHELF.products if p.substance != "monopersulfate"))
    plan = about("after-soak", shelf=shelf, people=2.0, minutes=30.0)
    assert "party-without-oxidizer" in notes(plan) and not of(plan, StepKind.DOSE)


def test_nothing_goes_in_after_a_soak_while_another_dose_still_mixes() -> None:
    dosed = Dosed(NOW - timedelta(minutes=5), "oxidizer", 15.0)
    plan = about("after-soak", shelf=BOTH, events=(*GOOD, dosed), people=2.0, minutes=30.0)
    assert plan.situation == "test-first" and not of(plan, StepKind.DOSE)
