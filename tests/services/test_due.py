"""What is due when: care by what was done, tests by what was read, and the rest by its own rule."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tubwater.advice import Situation
from tubwater.advice.care import due_tasks
from tubwater.advice.care_dates import TESTS, applies, care_date, care_dates
from tubwater.errors import InputError
from tubwater.facts import care_steps
from tubwater.reports.due import due_words, render_due
from tubwater.reports.handout_words import handout_words
from tubwater.reports.text import kinds
from tubwater.services.advise import case_of
from tubwater.services.due import Due, DueKind, due_of
from tubwater.services.handout import handout_of
from tubwater.services.ledger import ledger_of
from tubwater.tub import (
    Cared,
    Dosed,
    Equipment,
    Event,
    FeederSet,
    Filled,
    OxidantScale,
    Package,
    Product,
    Quantity,
    Reading,
    Reagents,
    Sanitizer,
    Shelf,
    Soaked,
    Tub,
)
from tubwater.tub import Tested as Readings

NOW = datetime(2026, 11, 25, 9, tzinfo=UTC)
TUB = Tub("invented", 1300.0, Sanitizer.BROMINE)
COUNTED = Package(1000.0, counted=NOW - timedelta(days=20), expires=date(2026, 12, 1))
SHELF = Shelf((Product("oxidizer", "monopersulfate", 0.88, (), 90.0, package=COUNTED),))


def ago(days: float) -> datetime:
    return NOW - timedelta(days=days)


def readings(days: float) -> tuple[Event, Event]:
    at = ago(days)
    bromine = Reading(Quantity.BROMINE, 4.0, 4.0, "mg/L", "photometer", at, OxidantScale.AS_BR2)
    ph = Reading(Quantity.PH, 7.4, 7.4, "pH", "photometer", at)
    alkalinity = Reading(Quantity.TOTAL_ALKALINITY, 90.0, 90.0, "mg/L", "drop-titration", at)
    return Readings(at, (bromine, ph)), Readings(at, (alkalinity,))


EVENTS: tuple[Event, ...] = (
    Filled(ago(30.0)),
    *(Dosed(ago(d), "oxidizer", 10.0, 0.05) for d in (16.0, 9.0, 2.0)),
    Cared(ago(10.0), "rinse-filter"),
    Cared(ago(3.0), "wipe-waterline"),
    Soaked(ago(5.0), 2.0, 30.0),
    *readings(2.0),
)


@pytest.fixture(scope="module")
def case() -> Situation:
    return case_of(TUB, SHELF, EVENTS, NOW, members=120)


@pytest.fixture(scope="module")
def dues(case: Situation) -> tuple[Due, ...]:
    return due_of(case, 60.0, [Reagents("strip", expires=date(2026, 11, 20))])


def one(dues: tuple[Due, ...], kind: DueKind, key: str) -> Due:
    (found,) = [due for due in dues if (due.kind, due.key) == (kind, key)]
    return found


def test_care_is_due_one_interval_after_it_was_done(dues: tuple[Due, ...]) -> None:
    rinse, wipe = one(dues, DueKind.CARE, "rinse-filter"), one(dues, DueKind.CARE, "wipe-waterline")
    assert rinse.at == ago(3.0) and rinse.overdue == pytest.approx(3.0) and rinse.last == ago(10.0)
    assert wipe.at == ago(-4.0) and wipe.overdue == 0.0 and not wipe.now


def test_what_was_never_done_is_due_at_once_or_after_its_interval(dues: tuple[Due, ...]) -> None:
    assert one(dues, DueKind.CARE, "inspect-suction-covers").at == ago(30.0)
    assert one(dues, DueKind.CARE, "deep-clean-filter").at == ago(0.0)
    assert one(dues, DueKind.TEST, "test-calcium").at == ago(30.0)
    assert "replace-cartridge" not in {due.key for due in dues}  # in a year and a half


def test_tests_that_are_late_stand_before_care_that_is_late_for_longer(dues: tuple[Due, ...]) -> None:
    late = [due.kind for due in dues if due.now]
    tests = [n for n, kind in enumerate(late) if kind in (DueKind.TEST, DueKind.VISIT)]
    assert tests and DueKind.CARE in late
    assert tests == list(range(len(tests)))
    coming = [due.at for due in dues if not due.now]
    assert coming == sorted(coming)


def test_alkalinity_is_due_a_week_after_it_was_read(dues: tuple[Due, ...]) -> None:
    assert one(dues, DueKind.TEST, "test-alkalinity").at == ago(-5.0)


def test_the_next_visit_counts_from_the_last_thing_that_was_done(dues: tuple[Due, ...]) -> None:
    assert one(dues, DueKind.VISIT, "next").at == ago(-5.0)  # tested and dosed two days ago


def test_the_refill_is_that_of_the_ledger(case: Situation) -> None:
    drain = ledger_of(case).drain_by
    assert drain is not None and drain.due is not None
    days = (drain.due - NOW) / timedelta(days=1)
    near, far = (
        [due.at for due in due_of(case, ahead) if due.kind is DueKind.REFILL] for ahead in (days - 1.0, days + 1.0)
    )
    assert (near, far) == ([], [drain.due])


def test_the_shelf_says_what_may_be_used_up_and_what_expires(dues: tuple[Due, ...]) -> None:
    ends = one(dues, DueKind.RUNS_OUT, "oxidizer")  # 60 g left, about 7 g a week, the likely soonest
    assert NOW + timedelta(weeks=1) < ends.at < NOW + timedelta(weeks=60 / 7)
    assert one(dues, DueKind.EXPIRES, "oxidizer").at.date() == date(2026, 12, 1)
    strips = one(dues, DueKind.EXPIRES, "strip")
    assert strips.overdue > 5.0 and due_words(strips).startswith("a test strip: past")


def test_a_newer_pack_takes_the_place_of_an_old_one(case: Situation) -> None:
    packs = [Reagents("strip", expires=date(2026, 11, 20)), Reagents("strip", expires=date(2026, 12, 20))]
    assert one(due_of(case, 60.0, packs), DueKind.EXPIRES, "strip").at.date() == date(2026, 12, 20)


def test_a_tub_is_not_asked_for_what_it_has_not() -> None:
    bare = replace(TUB, equipment=Equipment(pump=False, water_jets=False, air_jets=False, cover=False))
    keys = {found.task.key for found in care_dates(bare, (), NOW)}
    assert not keys & {"rinse-filter", "inspect-suction-covers", "test-protective-device", "air-cover", "weigh-feeder"}
    assert "wipe-waterline" in keys
    assert applies(care_steps()["weigh-feeder"], bare, [FeederSet(NOW, "tablets", 3.0)])


def test_a_look_into_the_feeder_is_noted_with_a_test_or_said_to_be_done() -> None:
    task, week = care_steps()["weigh-feeder"], timedelta(days=7)
    look = Reading(Quantity.TABLETS_LEFT, 50.0, 50.0, "%", "feeder-by-eye", NOW - week)
    tested, said = Readings(NOW - week, (look,)), Cared(NOW - 2 * week, "weigh-feeder")
    assert care_date(task, [said, tested], NOW).due == NOW
    assert care_date(task, [said], NOW).due == NOW - week


def test_plan_and_list_agree_on_what_is_due(case: Situation, dues: tuple[Due, ...]) -> None:
    planned = {task.key for task in due_tasks(case)}
    assert planned == {due.key for due in dues if due.now and due.every and due.kind is not DueKind.VISIT}


@settings(deadline=None)
@given(
    st.sampled_from(sorted(care_steps().keys() - TESTS.keys())), st.lists(st.floats(0.0, 900.0), min_size=1, max_size=5)
)
def test_doing_a_task_now_puts_it_off_by_its_interval(key: str, days: list[float]) -> None:
    task, before = care_steps()[key], [Cared(ago(d), key) for d in days]
    after = [*before, Cared(NOW, key)]
    assert care_date(task, after, NOW).due == NOW + timedelta(days=task.interval_days)
    assert care_date(task, before, NOW).due <= care_date(task, after, NOW).due


def test_what_is_still_to_come_does_not_count_as_done() -> None:
    task = care_steps()["rinse-filter"]
    assert care_date(task, [Filled(ago(1.0)), Cared(ago(-1.0), "rinse-filter")], NOW).due == ago(1.0)


@pytest.mark.parametrize("days", [0.0, 500.0, float("nan")])
def test_days_that_cannot_be_meant_are_refused(case: Situation, days: float) -> None:
    with pytest.raises(InputError, match="days"):
        due_of(case, days)


def test_the_list_fits_into_80_columns_and_puts_the_overdue_first(dues: tuple[Due, ...]) -> None:
    said = render_due(dues, NOW, 60.0)
    assert max(map(len, said.splitlines())) <= 80
    assert said.index("Overdue") < said.index("Rinse the filter") < said.index("To come")
    assert "Nothing is due" in render_due((), NOW, 14.0)


def test_rarer_care_and_the_new_water_stand_on_the_handout(case: Situation) -> None:
    handout = handout_of(case)
    assert {"deep-clean-filter", "test-protective-device"} <= {found.task.key for found in handout.dates}
    assert "rinse-filter" not in {found.task.key for found in handout.dates}
    steps = [step["text"] for step in handout_words(handout)["week"]["steps"]]
    assert "filter soaked clean now" in steps[-1] and "new water by" in steps[-1]


def test_every_rarer_task_has_a_short_name() -> None:
    rare = {key for key, task in care_steps().items() if task.interval_days > 7.0 and key != "test-calcium"}
    assert {*rare, "water"} == set(kinds("care-short"))
