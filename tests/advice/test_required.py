"""What a guideline wants of a day, and what closes a tub: from the events alone."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from types import MappingProxyType

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tubwater.advice.closures import closures_of
from tubwater.advice.required import Check, CheckState, Day, checks_of
from tubwater.facts import BasisKind, guidelines, references
from tubwater.facts.record import Germ, record_rules
from tubwater.tub import (
    Clarity,
    Count,
    Event,
    Noticed,
    OxidantScale,
    Quantity,
    Reading,
    Sampled,
    Sanitizer,
    Setting,
    Sign,
    Soaked,
    Tub,
)
from tubwater.tub import Tested as Readings

DATE = date(2026, 11, 20)
BEGINS = datetime(2026, 11, 20, tzinfo=UTC)
AFTER = BEGINS + timedelta(days=3)
PUBLIC = Tub("invented", 1300.0, Sanitizer.BROMINE, setting=Setting.PUBLIC, guideline="us-public")
DAY = Day(DATE, BEGINS, BEGINS + timedelta(days=1), AFTER, BEGINS + timedelta(hours=9), BEGINS + timedelta(hours=21))


def reads(hours: float, bromine: float = 5.0, ph: float = 7.4, **more: float) -> Readings:
    at = BEGINS + timedelta(hours=hours)
    found = [Reading(Quantity.BROMINE, bromine, bromine, "mg/L", "photometer", at, OxidantScale.AS_BR2)]
    found.append(Reading(Quantity.PH, ph, ph, "pH", "photometer", at))
    found += [Reading(Quantity(name.replace("_", " ")), v, v, "mg/L", "drop-titration", at) for name, v in more.items()]
    return Readings(at, tuple(found))


def look(hours: float, clarity: Clarity = Clarity.CLEAR, *signs: Sign) -> Noticed:
    return Noticed(BEGINS + timedelta(hours=hours), clarity, frozenset(signs))


BALANCE = reads(-30.0, total_alkalinity=90.0, calcium_hardness=160.0)
SAMPLE = Sampled(
    BEGINS - timedelta(days=10),
    BEGINS - timedelta(days=14),
    "a laboratory",
    counts=MappingProxyType({germ: Count(0.0, 0.0) for germ in Germ}),
)
REST: tuple[Event, ...] = (look(8.0), Soaked(BEGINS + timedelta(hours=10), 3.0, 15.0), BALANCE)


def wanted(
    events: tuple[Event, ...], tub: Tub = PUBLIC, day: Day = DAY, samples: tuple[Sampled, ...] = (SAMPLE,)
) -> tuple[Check, ...]:
    return checks_of(record_rules()[tub.guideline], tub, day, events, samples)


def missing(*args: object) -> list[str]:
    return [c.key for c in wanted(*args) if c.state in (CheckState.MISSING, CheckState.LATE)]  # type: ignore[arg-type]


# The rules as they were read: Montana tests before opening, every four hours and at closing.


def test_a_day_by_the_rule_of_montana_misses_nothing() -> None:
    assert missing((*(reads(h) for h in (8.5, 12.5, 16.5, 20.5)), reads(21.0), *REST)) == []


@pytest.mark.parametrize("gone", range(4))
def test_each_test_of_such_a_day_is_needed(gone: int) -> None:
    hours = [h for n, h in enumerate((8.5, 12.5, 16.5, 20.5)) if n != gone]
    assert missing((*(reads(h) for h in hours), *REST))


def test_a_test_that_came_ten_minutes_late_is_late_and_not_missing() -> None:
    checks = wanted((reads(8.5), reads(12.5 + 1 / 6), reads(16.5), reads(20.5), *REST))
    late = [c for c in checks if c.state is CheckState.LATE]
    assert [c.made for c in late] == [BEGINS + timedelta(hours=12.5 + 1 / 6)] and not any(
        c.state is CheckState.MISSING for c in checks
    )


def test_british_let_tubs_are_tested_twice_and_public_ones_every_two_hours() -> None:
    let = replace(PUBLIC, setting=Setting.LET, guideline="uk-business")
    assert {c.of for c in wanted((), let) if c.key == "each-day"} == {2}
    public = replace(let, setting=Setting.PUBLIC)
    dues = [c for c in wanted((), public) if c.key == "while-open"]
    assert len(dues) == 7 and all(c.basis.kind is BasisKind.FROM_MEMORY and not c.basis.verified for c in dues)


def test_a_household_is_asked_for_nothing() -> None:
    assert wanted((), replace(PUBLIC, setting=Setting.HOME, guideline="household")) == ()


def test_cyanuric_acid_is_wanted_of_chlorine_tubs_only() -> None:
    assert "cyanuric-acid" not in {c.key for c in wanted(())}
    assert "cyanuric-acid" in {c.key for c in wanted((), replace(PUBLIC, sanitizer=Sanitizer.CHLORINE))}


def test_what_is_weekly_or_monthly_is_missing_once_its_time_is_over() -> None:
    def states(days: float) -> dict[str, CheckState]:
        day = replace(DAY, begins=BEGINS + timedelta(days=days), ends=BEGINS + timedelta(days=days + 1))
        return {c.key: c.state for c in wanted(REST, PUBLIC, replace(day, now=AFTER + timedelta(days=60)))}

    assert [states(d)["balance"] for d in (0.0, 5.0, 6.0)] == [CheckState.DONE, CheckState.DONE, CheckState.MISSING]
    assert [states(d)["bacteria"] for d in (0.0, 17.0, 18.0)] == [CheckState.DONE, CheckState.DONE, CheckState.MISSING]


def test_a_sample_that_waits_for_its_result_was_taken() -> None:
    waits = Sampled(BEGINS - timedelta(days=1), BEGINS - timedelta(days=1), "a laboratory")
    assert missing(REST, PUBLIC, DAY, (waits,)).count("bacteria") == 0
    assert missing(REST, PUBLIC, DAY, ()).count("bacteria") == 1


def test_a_tub_that_was_shut_all_day_wants_one_test() -> None:
    shut = replace(DAY, shut=((BEGINS - timedelta(hours=5), None),))
    assert missing((reads(10.0), *REST), PUBLIC, shut) == []
    assert missing(REST, PUBLIC, shut) == ["each-day"]


def test_from_where_it_is_shut_no_more_tests_are_wanted() -> None:
    shut = replace(DAY, shut=((BEGINS + timedelta(hours=12), None),))
    assert missing((reads(8.5), reads(11.0), *REST), PUBLIC, shut) == []
    assert missing((reads(8.5), reads(11.0), *REST), PUBLIC, DAY) == ["while-open", "while-open", "while-open-closing"]


def test_without_opening_hours_a_day_runs_from_the_first_soak_to_the_last() -> None:
    day = replace(DAY, opens=None, closes=None)
    assert {c.key for c in wanted(REST, PUBLIC, day)} >= {"while-open", "while-open-closing"}
    assert "while-open" not in {c.key for c in wanted((look(8.0), BALANCE), PUBLIC, day)}


def test_today_what_is_not_due_yet_is_to_come() -> None:
    now = replace(DAY, now=BEGINS + timedelta(hours=13))
    states = [(c.key, c.state) for c in wanted((reads(8.5), *REST), PUBLIC, now) if c.state is not CheckState.DONE]
    assert ("while-open", CheckState.MISSING) in states  # half past twelve is over
    assert ("while-open", CheckState.TO_COME) in states and ("while-open-closing", CheckState.TO_COME) in states


# Whatever the day looks like


@settings(deadline=None, max_examples=60)
@given(st.lists(st.floats(0.5, 3.9), min_size=3, max_size=12), st.data())
def test_a_day_with_all_tests_misses_nothing_and_one_without_one_of_them_does(
    gaps: list[float], data: st.DataObject
) -> None:
    hours = [9.0]
    for gap in gaps:
        hours.append(hours[-1] + gap)
    hours = [h for h in hours if h < 20.6]
    while 21.0 - hours[-1] > 4.0:
        hours.append(hours[-1] + 3.9)
    tests = [reads(h) for h in [*hours, 21.0]]
    assert missing((*tests, *REST)) == []
    needed = [n for n in range(1, len(tests) - 1) if (tests[n + 1].at - tests[n - 1].at) > timedelta(hours=4)]
    gone = data.draw(st.sampled_from([0, len(tests) - 1, *needed]))
    rest = (*tests[:gone], *tests[gone + 1 :])
    late_enough = gone == len(tests) - 1 and tests[-2].at >= DAY.closes - timedelta(minutes=30)  # type: ignore[operator]
    assert missing((*rest, *REST)) or late_enough


@settings(deadline=None, max_examples=40)
@given(st.lists(st.floats(0.0, 23.9), max_size=12), st.floats(0.0, 23.9), st.sampled_from(sorted(record_rules())))
def test_one_more_test_never_leaves_more_undone(hours: list[float], more: float, guideline: str) -> None:
    tub = replace(PUBLIC, guideline=guideline)
    day = replace(DAY, opens=None, closes=None)
    before = [c for c in wanted((*map(reads, hours),), tub, day) if c.key == "each-day"]
    after = [c for c in wanted((*map(reads, [*hours, more]),), tub, day) if c.key == "each-day"]
    assert sum(c.state is CheckState.DONE for c in after) >= sum(c.state is CheckState.DONE for c in before)


# Closures


def kinds(*events: Event, tub: Tub = PUBLIC) -> list[tuple[str, bool, bool]]:
    return [(c.reason.kind, c.settled is not None, c.end is not None) for c in closures_of(tub, events)]


def test_a_reading_below_the_limit_closes_until_the_test_that_is_inside() -> None:
    (closure,) = closures_of(PUBLIC, (reads(9.0), reads(11.0, bromine=3.0), reads(12.0)))
    assert closure.reason.kind == "reading-far-low" and closure.reason.values["limit"] == 4.0  # 5.7.3.1.2.2
    assert (closure.start, closure.end) == (BEGINS + timedelta(hours=11), BEGINS + timedelta(hours=12))


def test_a_reading_while_the_oxidizer_works_or_on_the_limit_settles_nothing() -> None:
    low, window = reads(9.0, bromine=3.0), (BEGINS + timedelta(hours=10), BEGINS + timedelta(hours=12))
    (closure,) = closures_of(PUBLIC, (low, reads(11.0), reads(12.0)), windows=(window,))
    assert closure.end == window[1]
    (closure,) = closures_of(PUBLIC, (low, reads(11.0, bromine=4.0)))
    assert closure.end is None
    stool, settled = look(8.0, Clarity.CLEAR, Sign.FORMED_STOOL), look(9.0)
    (closure,) = closures_of(PUBLIC, (stool, settled, reads(11.0)), windows=(window,))
    assert closure.end is None


def test_the_code_closes_above_a_ph_of_eight_and_above_forty_degrees() -> None:
    hot = Readings(BEGINS, (Reading(Quantity.TEMPERATURE, 40.5, 40.5, "°C", "thermometer", BEGINS),))
    assert kinds(reads(1.0, ph=8.1), hot) == [("too-hot", False, False), ("reading-far-high", False, False)]


def test_a_sign_closes_until_it_is_settled_and_a_test_after_that_is_good() -> None:
    stool, settled = look(10.0, Clarity.CLEAR, Sign.FORMED_STOOL), look(12.0)
    assert kinds(stool, reads(11.0)) == [("sign-formed-stool", False, False)]
    assert kinds(stool, reads(11.0), settled) == [("sign-formed-stool", True, False)]
    assert kinds(stool, settled, reads(13.0)) == [("sign-formed-stool", True, True)]


def test_cloudy_water_closes_and_a_look_that_does_not_say_opens_nothing() -> None:
    assert kinds(look(9.0, Clarity.CLOUDY), look(10.0, Clarity.UNKNOWN), reads(11.0)) == [
        ("drain-not-visible", False, False)
    ]


def test_a_laboratory_result_names_the_clear_sample_after_it() -> None:
    found, settled = look(9.0, Clarity.CLEAR, Sign.LEGIONELLA), look(40.0)
    clear = replace(SAMPLE, at=BEGINS + timedelta(hours=39))
    events = (found, settled, reads(41.0))
    (without,) = closures_of(PUBLIC, events)
    (with_it,) = closures_of(PUBLIC, events, (clear,))
    assert without.of_laboratory and without.sample is None and with_it.sample == clear.at


def test_a_lapse_of_more_than_a_day_wants_two_good_tests_twelve_hours_apart() -> None:
    lapse = Noticed(BEGINS, Clarity.CLEAR, lapse_hours=40.0)
    assert kinds(lapse, reads(1.0), reads(12.5)) == [("lapse", True, False)]
    assert kinds(lapse, reads(1.0), reads(13.5)) == [("lapse", True, True)]


@settings(deadline=None, max_examples=50)
@given(st.lists(st.tuples(st.floats(0.0, 200.0), st.floats(0.0, 12.0), st.floats(6.5, 8.5)), max_size=15))
def test_a_closure_ends_after_it_began_and_by_a_test(rows: list[tuple[float, float, float]]) -> None:
    tests = [reads(round(h, 1), round(b, 1), round(p, 1)) for h, b, p in rows]
    made = {test.at for test in tests}
    for closure in closures_of(PUBLIC, tests):
        assert closure.start in made and (closure.end is None or (closure.end in made and closure.end >= closure.start))


# The data


def test_every_guideline_has_its_rules_and_every_source_its_reference() -> None:
    assert set(record_rules()) == set(guidelines())
    for rules in record_rules().values():
        cited = [rules.basis, *(r.basis for r in (*rules.tests, *rules.samples, *rules.germs.values()))]
        cited += [found.basis for found in (rules.fields, rules.refused, rules.person, rules.keep) if found]
        assert {source for basis in cited for source in basis.sources} <= set(references())
        for basis in cited:
            if basis.kind in (BasisKind.PUBLISHED, BasisKind.REPORTED):
                assert any(references()[key].read != "memory" for key in basis.sources)
            if basis.note.endswith("from memory"):
                assert basis.kind is BasisKind.FROM_MEMORY or "," in basis.note


def test_a_rule_of_every_guideline_reads_what_can_be_read() -> None:
    names = {"sanitizer", *(quantity.value for quantity in Quantity)}
    for rules in record_rules().values():
        assert {name for rule in rules.tests for name in rule.reads} <= names
        assert all(sum((rule.hours > 0, rule.times > 0, rule.days > 0)) == 1 for rule in rules.tests)
        assert all(set(rule.germs) <= set(rules.germs) for rule in rules.samples)
