"""Sanitizer lost and too much of it, the test that opens the tub, and what the verdict says of it."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from advice.scenes import CLEAR, NOW, a_test, doses, kinds, reading
from advice.stop_scenes import READ, plan_of, saw, verdict_of
from tubwater.advice import Occasion, Wishes
from tubwater.facts import Quantity
from tubwater.facts.situations import Procedure
from tubwater.reports.plain import render_plan, step_text
from tubwater.reports.text import sentence
from tubwater.tub import (
    Dosed,
    Drained,
    Event,
    FeederSet,
    Filled,
    Reading,
    Reason,
    Sign,
    Step,
    StepKind,
    VerdictKind,
)
from tubwater.tub import (
    Tested as Readings,
)

# Sanitizer lost, and too much of it.


def test_lost_sanitizer_ends_in_two_readings_twelve_hours_apart_with_the_second_as_next_visit() -> None:
    plan = plan_of(saw(lapse=100.0), a_test(0.0, 7.6, 80.0))
    assert plan.situation == "recovery" and plan.steps[-1].kind is StepKind.TEST
    two = next(r for r in plan.fit_when if r.kind == "two-good-readings")
    first, second = (datetime.fromisoformat(str(two.values[name])) for name in ("first", "second"))
    assert second - first >= timedelta(hours=12) and plan.next_visit == second
    assert second <= NOW + timedelta(days=2)
    assert "first-of-two-readings" in {r.kind for r in plan.steps[-1].reasons}


def test_after_the_first_good_reading_the_second_is_the_next_visit() -> None:
    first = NOW + timedelta(hours=3)
    shock = Dosed(NOW + timedelta(minutes=10), "oxidizer", 20.0)
    events: list[Event] = [saw(lapse=100.0), a_test(0.0, 7.6, 80.0), shock, a_test(5.0, 7.6, 80.0, at=first)]
    events.append(saw(at=first))
    plan = plan_of(*events, now=first)
    assert plan.verdict.kind is VerdictKind.KEEP_OUT
    assert plan.next_visit >= first + timedelta(hours=12)
    assert plan.next_visit <= first + timedelta(hours=30)
    two = next(r for r in plan.fit_when if r.kind == "two-good-readings")
    assert datetime.fromisoformat(str(two.values["read"])) == first and "first" not in two.values


def test_a_shock_that_did_not_hold_is_given_again_the_next_day() -> None:
    day = NOW + timedelta(days=1)
    events: list[Event] = [
        saw(lapse=100.0),
        a_test(1.0, 7.6, 80.0, method="photometer"),
        Dosed(NOW, "oxidizer", 20.0),
        a_test(1.0, 7.5, 80.0, method="photometer", at=day),
    ]
    plan = plan_of(*events, saw(at=day), now=day)
    assert plan.situation == "recovery" and "monopersulfate" in doses(plan)


def test_warm_water_long_without_sanitizer_is_purged_and_changed_and_then_begins_anew() -> None:
    events: list[Event] = [saw(lapse=240.0), a_test(0.0, 7.6, 80.0)]
    plan = plan_of(*events)
    assert plan.situation == "long-lapse" and kinds(plan).index(StepKind.DRAIN) < kinds(plan).index(StepKind.FILL)
    assert "purge-pipes" in {s.task for s in plan.steps}
    filled = verdict_of(*events, Filled(NOW + timedelta(hours=1), 1300.0), now=NOW + timedelta(hours=2))
    assert "long-lapse" not in {r.kind for r in filled.reasons}


@pytest.mark.parametrize("beyond", [False, True])
def test_too_much_sanitizer_gets_nothing_but_time_and_a_test(beyond: bool) -> None:
    high = reading(Quantity.BROMINE, 12.0, "fas-dpd-drops")
    if beyond:
        high = replace(reading(Quantity.BROMINE, 10.0), high=float("inf"))
    plan = plan_of(CLEAR, Readings(NOW, (high, reading(Quantity.PH, 7.6))))
    assert plan.situation == "too-high" and doses(plan) == []
    feeders = [s for s in plan.steps if s.kind is StepKind.SET_FEEDER]
    assert feeders and all(s.tablets == 0.0 and s.opening == 0.0 for s in feeders)
    assert plan.steps[-1].kind is StepKind.TEST and plan.next_visit <= NOW + timedelta(hours=25)
    assert plan.after_soak is None


def test_far_too_much_sanitizer_may_be_thinned_by_so_many_litres() -> None:
    earlier = NOW - timedelta(hours=3)
    twice = [Readings(at, (reading(Quantity.BROMINE, 24.0, "fas-dpd-drops", at),)) for at in (earlier, NOW)]
    plan = plan_of(CLEAR, *twice)
    litres = [float(r.values["litres"]) for r in plan.notes if r.kind == "or-change-some-water"]
    assert litres and 300.0 <= litres[0] <= 650.0


def test_a_reading_that_is_hard_to_believe_keeps_people_out_where_it_is_the_worse() -> None:
    plan = plan_of(CLEAR, Readings(NOW, (reading(Quantity.BROMINE, 30.0, "fas-dpd-drops"),)))
    assert plan.verdict.kind is VerdictKind.KEEP_OUT and doses(plan) == []
    assert "reading-far-high" in {r.kind for r in plan.verdict.reasons}


# The test that opens the tub.


@pytest.mark.parametrize(("bromine", "ph"), [(2.0, 7.6), (4.0, 8.2), (4.0, 6.9), (1.0, 7.4)])
@pytest.mark.parametrize("minutes", [None, 30.0])
def test_whatever_keeps_people_out_comes_back_for_its_test_and_not_in_a_week(
    bromine: float, ph: float, minutes: float | None
) -> None:
    plan = plan_of(CLEAR, a_test(bromine, ph, 90.0), wishes=Wishes(minutes=minutes, days=7.0))
    assert plan.verdict.kind is not VerdictKind.FIT
    assert plan.next_visit <= NOW + timedelta(days=2)
    assert "fit-after-test" in {r.kind for r in plan.fit_when}


def test_a_tub_that_is_fit_and_needs_a_dose_is_bathed_in_first() -> None:
    drops = reading(Quantity.TOTAL_ALKALINITY, 40.0, "drop-titration")
    test = Readings(NOW, (*a_test(5.0, 7.4, method="photometer").readings, drops))
    plan = plan_of(CLEAR, test)
    assert plan.verdict.kind is VerdictKind.FIT and doses(plan)
    assert {"bathe-first"} <= {r.kind for r in plan.notes} and "fit-after-test" in {r.kind for r in plan.fit_when}


# What the verdict says.


def test_an_empty_tub_is_said_to_be_empty_and_is_filled() -> None:
    old = a_test(4.0, 7.5, at=NOW - timedelta(hours=2))
    events: list[Event] = [old, Drained(NOW - timedelta(minutes=1), 1300.0), CLEAR]
    verdict = verdict_of(*events)
    assert verdict.kind is VerdictKind.KEEP_OUT and [r.kind for r in verdict.reasons] == ["empty"]
    plan = plan_of(*events)
    assert StepKind.FILL in kinds(plan) and StepKind.DRAIN not in kinds(plan)


def test_a_reading_of_the_old_water_does_not_count_for_the_new() -> None:
    filled = Filled(NOW - timedelta(hours=1), 1300.0)
    old = a_test(5.0, 7.5, method="photometer", at=NOW - timedelta(hours=2))
    verdict = verdict_of(old, filled, CLEAR)
    assert verdict.kind is not VerdictKind.FIT and "no-valid-reading" in {r.kind for r in verdict.reasons}


def beyond(quantity: Quantity, low: float, high: float) -> Reading:
    return replace(reading(quantity, 1.0), low=low, high=high)


@pytest.mark.parametrize(
    ("found", "key"),
    [
        (beyond(Quantity.PH, float("-inf"), 6.8), "below"),
        (beyond(Quantity.PH, 8.4, float("inf")), "above"),
        (beyond(Quantity.PH, 6.8, 7.2), "from"),
        (beyond(Quantity.PH, 6.9, 6.9), "value"),
    ],
)
def test_a_reading_at_the_end_of_its_range_is_told_as_beyond_it(found: Reading, key: str) -> None:
    verdict = verdict_of(CLEAR, Readings(NOW, (reading(Quantity.BROMINE, 4.0), found)))
    told = [r for r in verdict.reasons if r.kind.startswith("reading-") and r.values["quantity"] == "pH"]
    assert key in told[0].values
    assert ("below 6.8" in sentence(told[0])) is (key == "below")
    assert ("above 8.4" in sentence(told[0])) is (key == "above")


def test_what_would_change_it_says_dose_time_or_a_better_test() -> None:
    def changes(bromine: float, method: str = "strip") -> set[str]:
        found = verdict_of(CLEAR, a_test(bromine, 7.5, method=method)).changes
        return {r.kind for r in found if r.values.get("quantity") == "bromine"}

    assert "dose-then-test" in changes(1.0) and "better-test" not in changes(1.0)
    assert "better-test" in changes(4.0)
    high = changes(10.8, "photometer")
    assert "let-it-fall" in high and "dose-then-test" not in high


def test_a_call_names_whom_to_call() -> None:
    licensed, authority = (
        step_text(Step(StepKind.CALL, reasons=(Reason(kind),))) for kind in ("repair-first", "authority-first")
    )
    assert licensed != authority


@pytest.mark.parametrize("found", READ, ids=lambda p: p.key)
def test_every_such_plan_can_be_read_in_80_columns(found: Procedure) -> None:
    by_kind = {f"sign-{sign.value.replace(' ', '-')}": sign for sign in Sign} | {"contamination": Sign.CONTAMINATION}
    signs = [by_kind[kind] for kind in sorted(found.reasons) if kind in by_kind]
    wishes = Wishes(occasion=Occasion.UNKNOWN_HISTORY) if found.key == "new-to-me" else None
    lapse = 240.0 if found.key == "long-lapse" else None
    bromine = 0.0 if found.key == "new-to-me" else 4.0
    plan = plan_of(saw(*signs[:1], lapse=lapse), a_test(bromine, 7.5), wishes=wishes)
    lines = render_plan(plan).splitlines()
    assert max(map(len, lines)) <= 80
    assert found.key == plan.situation


@pytest.mark.parametrize(
    ("between", "situation"),
    [
        ([], "long-lapse"),
        ([Dosed(NOW - timedelta(days=9), "oxidizer", 20.0)], "recovery"),
        ([a_test(3.0, 7.5, at=NOW - timedelta(days=9))], "recovery"),
        ([FeederSet(NOW - timedelta(days=20), "tablets", 2.0, 0.5)], "recovery"),
    ],
)
def test_nothing_read_twice_in_two_weeks_and_nothing_added_is_more_than_a_week_without(
    between: list[Event], situation: str
) -> None:
    zeros = [a_test(0.0, 7.5, 80.0, at=NOW - timedelta(days=14)), CLEAR, a_test(0.0, 7.5, 80.0)]
    assert plan_of(*between, *zeros).situation == situation
