"""The visit as a fold over what was said beside the tub."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tubwater.advice.beside_tub import Ask, Phase, Running, Status, VisitEvent, What
from tubwater.advice.running import fold, holds_back
from tubwater.tub import Amount, Plan, Quantity, Reason, Step, StepKind, Verdict, VerdictKind

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
TESTED = {"pH": NOW, "bromine": NOW, "total alkalinity": NOW}
ACID = Amount("dry acid", "sodium-bisulfate", 20.0, 2.0, "spoon")
SHOCK = Amount("oxidizer", "monopersulfate", 30.0, 3.0, "scoop")
STEPS = (
    Step(StepKind.PREPARE, minutes=2.0),  # 0.0
    Step(StepKind.DOSE, amount=ACID, minutes=2.0),  # 0.1
    Step(StepKind.WAIT, minutes=20.0),  # 0.2
    Step(StepKind.CHECK, minutes=5.0, task="wipe-waterline", optional=True),  # 0.3
    Step(StepKind.TEST, quantities=(Quantity.PH,)),  # 0.4
    Step(StepKind.DOSE, amount=SHOCK, minutes=2.0),  # 0.5
    Step(StepKind.WAIT, minutes=20.0),  # 0.6
    Step(StepKind.COVER, minutes=1.0),  # 0.7
)
VERDICT = Verdict(VerdictKind.NOT_YET, NOW, NOW, 0, 0.0, 0.5, 0.9, (Reason("reading-low"),))
PLAN = Plan(NOW, "in-use", VERDICT, STEPS, None, (), (), (Reason("fit-after-test"),), NOW + timedelta(days=7), None)


def at(minutes: float) -> datetime:
    return NOW + timedelta(minutes=minutes)


def said(what: What, minutes: float, step: str = "", **more: object) -> VisitEvent:
    name = str(more.pop("id", f"{what}-{step}-{minutes}"))
    return replace(VisitEvent(name, what, at(minutes), "Ada", step), **more)  # type: ignore[arg-type]


BEGUN = said(What.BEGUN, 0.0, plan=PLAN, id="begun")
PREPARED = said(What.DONE, 2.0, "0.0")
ACID_IN = said(What.DONE, 4.0, "0.1", id="acid")


def state(*events: VisitEvent, minutes: float) -> Running:
    return fold([BEGUN, *events], at(minutes), TESTED)


def key(found: Running) -> str:
    assert found.turn is not None
    return found.turn.key


def test_a_visit_begins_at_its_first_step() -> None:
    found = state(minutes=1)
    assert (key(found), found.phase, found.added) == ("0.0", Phase.RUNNING, ())


def test_what_does_not_begin_with_a_plan_is_no_visit() -> None:
    with pytest.raises(ValueError, match="plan"):
        fold([PREPARED], NOW, TESTED)


def test_a_dose_that_is_in_starts_its_wait_from_when_it_went_in() -> None:
    found = state(PREPARED, ACID_IN, minutes=10)
    assert (key(found), found.due) == ("0.2", at(24))
    assert [(a.product, a.grams, a.by, a.at) for a in found.added] == [("dry acid", 20.0, "Ada", at(4))]


def test_the_wait_is_over_by_the_clock_alone_and_the_next_step_has_its_turn() -> None:
    assert key(state(PREPARED, ACID_IN, minutes=23.9)) == "0.2"
    found = state(PREPARED, ACID_IN, minutes=24)
    assert key(found) == "0.4" and found.turn is not None and found.turn.since == at(24)


def test_care_fills_the_wait_and_never_holds_anybody_up() -> None:
    waiting = state(PREPARED, ACID_IN, minutes=10)
    assert [s.key for s in waiting.beside] == ["0.3"]
    wiped = state(PREPARED, ACID_IN, said(What.DONE, 9, "0.3"), minutes=10)
    assert wiped.beside[0].status is Status.DONE and key(wiped) == "0.2"


def test_while_a_wait_runs_or_a_step_is_open_nobody_gets_in() -> None:
    waiting, open_step = holds_back(state(PREPARED, ACID_IN, minutes=10)), holds_back(state(minutes=1))
    assert waiting is not None and waiting.kind == "wait-of-visit"
    assert open_step is not None and open_step.kind == "visit-running"


def test_a_visit_whose_steps_are_all_answered_holds_nobody_back() -> None:
    done = [said(What.DONE, n, f"0.{p}") for n, p in ((2, 0), (4, 1), (26, 4), (28, 5), (50, 7))]
    found = state(*done, minutes=51)
    assert found.phase is Phase.FINISHED and holds_back(found) is None


def test_another_amount_counts_as_it_was_and_asks_for_a_new_plan_of_the_rest() -> None:
    found = state(PREPARED, said(What.OTHER_AMOUNT, 4, "0.1", grams=30.0, id="more"), minutes=5)
    assert found.added[0].grams == 30.0 and found.owes is not None and found.owes.id == "more"


def test_the_new_plan_of_the_rest_takes_the_place_of_what_was_ahead() -> None:
    rest = replace(PLAN, steps=(Step(StepKind.WAIT, minutes=20.0), Step(StepKind.COVER)))
    more = said(What.OTHER_AMOUNT, 4, "0.1", grams=30.0, id="more")
    again = said(What.REPLANNED, 4, about="more", plan=rest, because=(Reason("replanned-amount"),))
    found = state(PREPARED, more, again, minutes=5)
    assert [s.key for s in found.steps if not s.beside] == ["0.0", "0.1", "1.0", "1.1"]
    assert found.owes is None and found.due == at(24) and found.replanned[0].kind == "replanned-amount"


def test_what_is_undone_never_happened_and_its_plan_goes_with_it() -> None:
    more = said(What.OTHER_AMOUNT, 4, "0.1", grams=30.0, id="more")
    again = said(What.REPLANNED, 4, about="more", plan=replace(PLAN, steps=()))
    found = state(PREPARED, more, again, said(What.UNDONE, 5, about="more"), minutes=6)
    assert key(found) == "0.1" and found.added == () and found.last == PREPARED.id


def test_the_names_of_steps_stay_the_same_after_something_was_undone() -> None:
    more = said(What.OTHER_AMOUNT, 4, "0.1", grams=30.0, id="more")
    gone = said(What.REPLANNED, 4, about="more", plan=replace(PLAN, steps=()), id="gone")
    less = said(What.OTHER_AMOUNT, 6, "0.1", grams=10.0, id="less")
    again = said(What.REPLANNED, 6, about="less", plan=PLAN, id="again")
    found = state(PREPARED, more, gone, said(What.UNDONE, 5, about="more"), less, again, minutes=7)
    assert key(found) == "2.0"


def test_who_says_it_second_adds_nothing() -> None:
    second = said(What.DONE, 5, "0.1", by="Ben", id="second")
    found = state(PREPARED, ACID_IN, second, minutes=6)
    assert [(a.by, a.grams) for a in found.added] == [("Ada", 20.0)]


def test_another_amount_said_afterwards_takes_the_place_of_the_first() -> None:
    found = state(PREPARED, ACID_IN, said(What.OTHER_AMOUNT, 4, "0.1", grams=40.0), minutes=6)
    assert [a.grams for a in found.added] == [40.0] and found.owes is not None


def test_not_sure_keeps_the_dose_as_uncertain_and_asks_for_a_new_plan() -> None:
    found = state(PREPARED, said(What.NOT_SURE, 4, "0.1"), minutes=5)
    assert not found.added[0].certain and found.owes is not None


def test_what_is_not_in_hand_or_left_out_is_remembered_for_the_rest_of_the_visit() -> None:
    assert state(PREPARED, said(What.NOT_IN_HAND, 4, "0.1"), minutes=5).missing == {"dry acid"}
    left_out = state(PREPARED, said(What.SKIPPED, 4, "0.1"), minutes=5)
    assert left_out.missing == {"dry acid"} and left_out.owes is not None and left_out.added == ()


@pytest.mark.parametrize("what", [What.NOT_IN_HAND, What.SKIPPED])
def test_a_dose_that_is_not_in_starts_no_wait(what: What) -> None:
    found = state(PREPARED, said(what, 4, "0.1"), minutes=5)
    assert (key(found), found.due) == ("0.4", None)
    assert "0.2" not in [s.key for s in found.steps]


def test_no_grams_of_a_dose_start_no_wait_either() -> None:
    found = state(PREPARED, said(What.OTHER_AMOUNT, 4, "0.1", grams=0.0), minutes=5)
    assert found.due is None


def test_of_two_doses_with_one_wait_the_one_that_is_in_alone_is_waited_for() -> None:
    steps = (STEPS[1], STEPS[5], STEPS[6], STEPS[7])
    begun = replace(BEGUN, plan=replace(PLAN, steps=steps))
    in_first, not_second = said(What.DONE, 4, "0.0"), said(What.NOT_IN_HAND, 9, "0.1")
    assert fold([begun, in_first, not_second], at(10), TESTED).due == at(24)
    assert fold([begun, said(What.NOT_IN_HAND, 4, "0.0"), said(What.DONE, 9, "0.1")], at(10), TESTED).due == at(29)


def test_without_a_wait_its_checks_go_into_the_next_one() -> None:
    found = state(PREPARED, said(What.NOT_IN_HAND, 4, "0.1"), said(What.DONE, 6, "0.5"), minutes=5)
    assert [s.key for s in found.steps] == ["0.0", "0.1", "0.4", "0.5", "0.6", "0.3", "0.7"]


def test_a_wait_for_tablets_that_dissolve_stays_when_the_feeder_was_left_as_it_was() -> None:
    fall = (Step(StepKind.SET_FEEDER), Step(StepKind.WAIT, minutes=300.0, covered=True), STEPS[4])
    begun = replace(BEGUN, plan=replace(PLAN, steps=fall))
    assert fold([begun, said(What.SKIPPED, 2, "0.0")], at(3), TESTED).due == at(302)


def test_a_check_that_missed_its_wait_is_carried_into_the_next() -> None:
    done = [PREPARED, ACID_IN, said(What.DONE, 25, "0.4"), said(What.DONE, 27, "0.5")]
    found = state(*done, minutes=30)
    assert key(found) == "0.6" and [s.key for s in found.beside] == ["0.3"]


def test_a_check_that_missed_every_wait_stands_beside_what_closes_the_visit() -> None:
    done = [PREPARED, ACID_IN, said(What.DONE, 25, "0.4"), said(What.DONE, 27, "0.5")]
    found = state(*done, minutes=50)
    assert key(found) == "0.7" and [s.key for s in found.beside] == ["0.3"]


def test_a_check_is_carried_over_a_new_plan_that_does_not_have_it() -> None:
    more = said(What.OTHER_AMOUNT, 4, "0.1", grams=30.0, id="more")
    rest = replace(PLAN, steps=(Step(StepKind.WAIT, minutes=20.0), Step(StepKind.COVER)))
    again = said(What.REPLANNED, 4, about="more", plan=rest)
    assert [s.key for s in state(PREPARED, more, again, minutes=5).beside] == ["0.3"]
    anew = replace(again, plan=replace(rest, steps=(rest.steps[0], STEPS[3], rest.steps[1])))
    assert [s.key for s in state(PREPARED, more, anew, minutes=5).beside] == ["1.1"]


SUCTION = (*STEPS[:3], Step(StepKind.CHECK, minutes=2.0, task="inspect-suction-covers", optional=True), *STEPS[4:])
WITH_SUCTION = replace(BEGUN, plan=replace(PLAN, steps=SUCTION))


def test_the_suction_covers_are_asked_for_before_the_visit_closes() -> None:
    done = [PREPARED, ACID_IN, said(What.DONE, 25, "0.4"), said(What.DONE, 27, "0.5")]
    found = fold([WITH_SUCTION, *done], at(50), TESTED)
    assert key(found) == "0.3" and found.turn is not None and not found.turn.beside and not found.turn.step.optional
    seen = fold([WITH_SUCTION, *done, said(What.DONE, 51, "0.3")], at(52), TESTED)
    assert key(seen) == "0.7" and [s.key for s in seen.steps] == [s.key for s in found.steps]
    closed = fold([WITH_SUCTION, *done, said(What.DONE, 51, "0.7")], at(52), TESTED)
    assert key(closed) == "0.3" and holds_back(closed) is not None


def test_suction_covers_that_were_seen_to_in_their_wait_are_not_asked_for_again() -> None:
    done = [PREPARED, ACID_IN, said(What.DONE, 9, "0.3"), said(What.DONE, 25, "0.4"), said(What.DONE, 27, "0.5")]
    found = fold([WITH_SUCTION, *done], at(50), TESTED)
    assert key(found) == "0.7" and [s.key for s in found.steps] == [f"0.{n}" for n in range(8)]


def test_an_amount_that_is_far_off_is_asked_about_once() -> None:
    more = said(What.OTHER_AMOUNT, 4, "0.1", grams=100.0, id="more")
    found = state(PREPARED, more, minutes=5)
    assert found.doubted is not None and found.doubted.key == "0.1" and found.added[0].grams == 100.0
    right = said(What.ANSWERED, 5, "0.1")
    assert state(PREPARED, more, right, minutes=6).doubted is None
    assert state(PREPARED, more, said(What.OTHER_AMOUNT, 5, "0.1", grams=25.0), minutes=6).doubted is None
    again = state(PREPARED, more, right, said(What.OTHER_AMOUNT, 6, "0.1", grams=500.0), minutes=7).doubted
    assert again is not None and again.grams == 500.0
    assert state(PREPARED, replace(more, grams=99.0), minutes=5).doubted is None


def test_leaving_out_a_care_step_needs_no_new_plan() -> None:
    assert state(said(What.SKIPPED, 1, "0.0"), minutes=2).owes is None


def test_leaving_out_a_test_needs_a_new_plan_only_while_doses_are_ahead() -> None:
    assert state(PREPARED, ACID_IN, said(What.SKIPPED, 25, "0.4"), minutes=26).owes is not None
    shocked = said(What.DONE, 25, "0.5")
    assert state(PREPARED, ACID_IN, shocked, said(What.SKIPPED, 26, "0.4"), minutes=27).owes is None


def test_a_dose_that_was_shown_for_long_without_an_answer_is_asked_about() -> None:
    assert state(PREPARED, minutes=31).asks is None
    assert state(PREPARED, minutes=33).asks is Ask.DID_YOU_ADD_IT


def test_no_it_is_not_in_puts_the_step_back() -> None:
    assert state(PREPARED, said(What.ANSWERED, 40, "0.1"), minutes=41).asks is None


def test_who_takes_over_is_asked_whether_the_open_dose_is_in() -> None:
    left, taken = said(What.LEFT, 5, to="Ben"), said(What.TAKEN_UP, 10, by="Ben")
    assert state(PREPARED, left, taken, minutes=11).asks is Ask.DID_YOU_ADD_IT


@pytest.mark.parametrize(("hours", "asks"), [(1.9, None), (2.1, Ask.TEST_FIRST)])
def test_acid_is_not_dosed_by_a_test_older_than_two_hours(hours: float, asks: Ask | None) -> None:
    old = TESTED | {"pH": at(3) - timedelta(hours=hours)}
    assert fold([BEGUN, PREPARED], at(3), old).asks is asks


@pytest.mark.parametrize(("hours", "asks"), [(23.0, None), (25.0, Ask.TEST_FIRST)])
def test_alkalinity_may_be_dosed_by_a_test_of_the_same_day(hours: float, asks: Ask | None) -> None:
    soda = Step(StepKind.DOSE, amount=Amount("bicarbonate", "sodium-bicarbonate", 60.0))
    begun = replace(BEGUN, plan=replace(PLAN, steps=(soda,)))
    old = {"total alkalinity": at(3) - timedelta(hours=hours)}
    assert fold([begun], at(3), old).asks is asks


def test_who_leaves_hands_over_the_rest_with_its_condition() -> None:
    found = state(PREPARED, ACID_IN, said(What.LEFT, 6, to="the neighbour"), minutes=30)
    assert found.phase is Phase.LEFT and found.handed is not None
    assert [s.key for s in found.handed.rest] == ["0.4", "0.5", "0.6", "0.3", "0.7"]
    assert (found.handed.to, found.handed.condition) == ("the neighbour", PLAN.fit_when)


def test_the_waits_between_doses_and_the_one_that_runs_are_handed_over_with_the_rest() -> None:
    found = state(PREPARED, ACID_IN, said(What.LEFT, 6, to="the neighbour"), minutes=10)
    assert found.handed is not None
    assert [(s.key, s.due) for s in found.handed.rest if s.step.kind is StepKind.WAIT] == [
        ("0.2", at(24)),
        ("0.6", None),
    ]
    assert "0.3" in [s.key for s in found.handed.rest]


def test_a_visit_that_was_left_holds_people_back_until_its_wait_is_over() -> None:
    left = said(What.LEFT, 6, to="the neighbour")
    assert holds_back(state(PREPARED, ACID_IN, left, minutes=10)) is not None
    assert holds_back(state(PREPARED, ACID_IN, left, minutes=30)) is None


def test_leaving_after_the_last_step_leaves_nothing_to_anybody() -> None:
    done = [said(What.DONE, n, f"0.{p}") for n, p in ((2, 0), (4, 1), (26, 4), (28, 5), (50, 7))]
    assert state(*done, said(What.LEFT, 51), minutes=52).phase is Phase.FINISHED


def test_a_closed_visit_has_no_step_left() -> None:
    found = state(PREPARED, said(What.CLOSED, 6), minutes=7)
    assert found.phase is Phase.CLOSED and found.turn is None and holds_back(found) is None


SAYINGS = st.lists(
    st.tuples(
        st.sampled_from([What.DONE, What.OTHER_AMOUNT, What.SKIPPED, What.NOT_SURE, What.NOT_IN_HAND, What.UNDONE]),
        st.integers(0, 7),
        st.integers(0, 90),
    ),
    max_size=12,
)


def told(sayings: list[tuple[What, int, int]]) -> list[VisitEvent]:
    events: list[VisitEvent] = []
    for n, (what, place, minutes) in enumerate(sayings):
        about = events[-1].id if events and what is What.UNDONE else ""
        step = "" if what is What.UNDONE else f"0.{place}"
        events.append(said(what, minutes, step, id=f"e{n}", grams=7.0, about=about))
    return events


@settings(max_examples=60)
@given(SAYINGS, st.integers(0, 120))
def test_each_dose_counts_at_most_once_and_an_open_visit_never_lets_anybody_in(
    sayings: list[tuple[What, int, int]], minutes: int
) -> None:
    found = state(*told(sayings), minutes=minutes)
    assert len({a.entry for a in found.added}) == len(found.added) <= 2
    assert (holds_back(found) is None) == (found.at is None)
    assert all(s.due is None or s.since is not None for s in found.steps)


@settings(max_examples=60)
@given(SAYINGS)
def test_the_same_things_said_twice_change_nothing(sayings: list[tuple[What, int, int]]) -> None:
    events = told([s for s in sayings if s[0] is not What.UNDONE])
    twice = [*events, *(replace(e, id=f"{e.id}-again") for e in events)]
    once, again = state(*events, minutes=60), state(*twice, minutes=60)
    assert (once.at, once.phase) == (again.at, again.phase)
    assert [(a.product, a.grams) for a in once.added] == [(a.product, a.grams) for a in again.added]
