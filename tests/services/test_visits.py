"""The visit beside the tub as a use case: what is told, what it does to the logbook, and what is planned anew."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest

from services.visiting import NOW, Clock, doses, from_when, key, oxidized, walk
from tubwater.advice import Wishes
from tubwater.errors import Conflict, InputError, UnknownEntry
from tubwater.services.keeping import Keeping
from tubwater.services.memory import MemoryEntries, MemorySnapshots, RandomNames
from tubwater.services.ports import Kind, Source
from tubwater.services.visits import Ask, Phase, Status, Told, Visits, What
from tubwater.services.visits_end import end_of_visit
from tubwater.tub import Cared, FeederSet, Reason, StepKind, VerdictKind

BODY: dict[str, Any] = {
    "tub": {"name": "Larch", "volume": "1300 L", "sanitizer": "bromine"},
    "product": [
        {"name": "oxidizer", "substance": "potassium monopersulfate", "strength": "43 %", "scoop": "20 g"},
        {"name": "dry acid", "substance": "sodium bisulfate", "strength": "93 %", "spoon": "15 g"},
        {"name": "soda ash", "substance": "soda ash", "strength": "99 %", "spoon": "12 g"},
        {"name": "bicarbonate", "substance": "sodium bicarbonate", "strength": "99 %", "scoop": "30 g"},
        {"name": "tablets", "substance": "bromine tablets", "strength": "96 %", "tablet": "20 g"},
    ],
}
TEST = {"method": "photometer", "bromine": 4.0, "pH": 8.0}
DROPS = {"method": "drop-titration", "total_alkalinity": 150}


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def keeping(clock: Clock) -> Keeping:
    return Keeping(MemoryEntries(), MemorySnapshots(), clock, RandomNames())


@pytest.fixture
def visits(keeping: Keeping) -> Visits:
    return Visits(keeping)


@pytest.fixture
def tub(keeping: Keeping, clock: Clock) -> str:
    """High pH and alkalinity: acid comes first, then its test, then the oxidizer."""
    tub = keeping.add_tub(BODY)
    keeping.record(tub, Kind.TEST, TEST)
    keeping.record(tub, Kind.TEST, DROPS)
    keeping.record(tub, Kind.NOTICED, {"clarity": "clear"})
    clock.time += timedelta(minutes=5)
    return tub


def test_a_whole_visit_leads_to_an_end_and_what_went_in_stands_in_the_logbook(
    visits: Visits, keeping: Keeping, tub: str, clock: Clock
) -> None:
    visit = visits.begin(tub)
    state = walk(visits, tub, visit, clock, StepKind.HAND_OVER)
    assert state.phase is Phase.FINISHED and visits.current(tub) is None
    assert [a.product for a in state.added if a.substance != "bcdmh"] == [p for p, _, _ in doses(keeping, tub)]
    assert "dry acid" in [p for p, _, _ in doses(keeping, tub)]
    assert any(isinstance(e, FeederSet) for e in keeping.file(tub).events)


def test_while_a_visit_is_under_way_nobody_is_told_fit(visits: Visits, keeping: Keeping, clock: Clock) -> None:
    tub = keeping.add_tub(BODY)
    keeping.record(tub, Kind.TEST, {"method": "photometer", "bromine": 4.5, "pH": 7.5})
    keeping.record(tub, Kind.NOTICED, {"clarity": "clear"})
    clock.time += timedelta(minutes=5)
    assert keeping.verdict(tub).kind is VerdictKind.FIT
    visit = visits.begin(tub)
    assert keeping.verdict(tub).kind is VerdictKind.NOT_YET
    visits.tell(tub, visit, Told(What.CLOSED))
    assert keeping.verdict(tub).kind is VerdictKind.FIT


def test_a_second_visit_of_the_same_tub_is_refused_with_the_first(visits: Visits, tub: str) -> None:
    visit = visits.begin(tub)
    with pytest.raises(Conflict) as told:
        visits.begin(tub)
    assert told.value.stands == visit


def test_beginning_and_telling_twice_under_one_name_is_harmless(
    visits: Visits, keeping: Keeping, tub: str, clock: Clock
) -> None:
    assert visits.begin(tub, id="v") == visits.begin(tub, id="v") == "v"
    state = walk(visits, tub, "v", clock, StepKind.DOSE)
    for _ in range(2):
        visits.tell(tub, "v", Told(What.DONE, key(state)), id="once")
    assert len(doses(keeping, tub)) == 1


def test_another_amount_is_entered_as_it_was_and_the_rest_is_planned_anew(
    visits: Visits, keeping: Keeping, tub: str, clock: Clock
) -> None:
    visit = visits.begin(tub)
    state = walk(visits, tub, visit, clock, StepKind.DOSE)
    state = visits.tell(tub, visit, Told(What.OTHER_AMOUNT, key(state), measures=1.0))
    assert doses(keeping, tub) == [("dry acid", 15.0, True)]
    assert state.replanned[0].kind == "replanned-amount" and state.due == clock.time + timedelta(minutes=20)
    assert not [s for s in state.steps if s.step.kind is StepKind.PREPARE and not s.answered]


def test_an_amount_that_cannot_be_meant_is_not_kept(visits: Visits, keeping: Keeping, tub: str, clock: Clock) -> None:
    visit = visits.begin(tub)
    state = walk(visits, tub, visit, clock, StepKind.DOSE)
    with pytest.raises(InputError):
        visits.tell(tub, visit, Told(What.OTHER_AMOUNT, key(state), amount="a handful"))
    assert visits.show(tub, visit).turn == state.turn and doses(keeping, tub) == []


def test_it_was_another_amount_corrects_the_dose_and_leaves_its_wait(
    visits: Visits, keeping: Keeping, tub: str, clock: Clock
) -> None:
    visit = visits.begin(tub)
    state = walk(visits, tub, visit, clock, StepKind.DOSE)
    dosed, at = key(state), clock.time
    visits.tell(tub, visit, Told(What.DONE, dosed))
    clock.time += timedelta(minutes=6)
    state = visits.tell(tub, visit, Told(What.OTHER_AMOUNT, dosed, amount="20 g"))
    assert doses(keeping, tub) == [("dry acid", 20.0, True)]
    assert state.due == at + timedelta(minutes=20)


def test_undo_takes_the_dose_out_again_and_it_can_be_told_anew(
    visits: Visits, keeping: Keeping, tub: str, clock: Clock
) -> None:
    visit = visits.begin(tub)
    state = walk(visits, tub, visit, clock, StepKind.DOSE)
    after = visits.tell(tub, visit, Told(What.DONE, key(state)))
    undone = visits.tell(tub, visit, Told(What.UNDONE, about=after.last))
    assert doses(keeping, tub) == [] and key(undone) == key(state)
    visits.tell(tub, visit, Told(What.DONE, key(state)))
    assert len(doses(keeping, tub)) == 1


def test_only_the_last_answer_can_be_undone(visits: Visits, tub: str, clock: Clock) -> None:
    visit = visits.begin(tub)
    first = visits.tell(tub, visit, Told(What.DONE, key(visits.show(tub, visit)))).last
    visits.tell(tub, visit, Told(What.DONE, key(visits.show(tub, visit))))
    with pytest.raises(Conflict):
        visits.tell(tub, visit, Told(What.UNDONE, about=first))


def test_without_a_product_the_rest_is_planned_without_it(visits: Visits, tub: str, clock: Clock) -> None:
    visit = visits.begin(tub)
    state = walk(visits, tub, visit, clock, StepKind.DOSE)
    state = visits.tell(tub, visit, Told(What.NOT_IN_HAND, key(state)))
    ahead = [s.step.amount.product for s in state.steps if not s.answered and s.step.amount]
    assert "dry acid" not in ahead and state.replanned[0].kind == "replanned-missing"


def test_not_sure_is_kept_as_uncertain_and_a_test_comes_before_anything_else_goes_in(
    visits: Visits, keeping: Keeping, tub: str, clock: Clock
) -> None:
    visit = visits.begin(tub)
    state = walk(visits, tub, visit, clock, StepKind.DOSE)
    state = visits.tell(tub, visit, Told(What.NOT_SURE, key(state)))
    assert doses(keeping, tub) == [("dry acid", state.added[0].grams, False)]
    ahead = [s.step.kind for s in state.steps if not s.answered]
    assert StepKind.TEST in ahead and StepKind.DOSE not in ahead


def test_a_retest_plans_the_rest_anew_and_says_why(visits: Visits, keeping: Keeping, tub: str, clock: Clock) -> None:
    visit = visits.begin(tub)
    state = walk(visits, tub, visit, clock, StepKind.TEST)
    assert state.turn is not None and state.turn.step.kind is StepKind.TEST
    state = visits.tell(tub, visit, Told(What.RETEST, key(state), test={"method": "photometer", "pH": 7.9}))
    assert state.replanned[0].kind == "replanned-retest" and state.replanned[0].values["value"] == 7.9
    assert keeping.history(tub)[-1].body["pH"] == 7.9


def test_a_stale_plan_asks_for_a_test_and_goes_on_with_a_fresh_one(visits: Visits, tub: str, clock: Clock) -> None:
    visit = visits.begin(tub)
    state = walk(visits, tub, visit, clock, StepKind.DOSE)
    clock.time += timedelta(hours=3)
    visits.tell(tub, visit, Told(What.ANSWERED, key(state)))
    assert visits.show(tub, visit).asks is Ask.TEST_FIRST
    state = visits.tell(tub, visit, Told(What.RETEST, test=TEST))
    assert state.asks is None and state.turn is not None and state.turn.step.kind is StepKind.DOSE


def test_two_who_say_the_same_step_enter_one_dose(visits: Visits, keeping: Keeping, tub: str, clock: Clock) -> None:
    visit = visits.begin(tub)
    state = walk(visits, tub, visit, clock, StepKind.DOSE)
    visits.tell(tub, visit, Told(What.DONE, key(state)), Source("Ada"), "a")
    with pytest.raises(Conflict) as told:
        visits.tell(tub, visit, Told(What.DONE, key(state)), Source("Ben"), "b")
    assert told.value.stands == "a" and len(doses(keeping, tub)) == 1
    assert visits.show(tub, visit).added[0].by == "Ada"


def test_a_dose_told_late_by_an_earlier_plan_counts_and_the_rest_is_planned_anew(
    visits: Visits, keeping: Keeping, tub: str, clock: Clock
) -> None:
    clock.time += timedelta(minutes=1)
    keeping.record(tub, Kind.TEST, {"method": "photometer", "bromine": 1.0, "pH": 8.2})  # oxidizer and acid
    visit = visits.begin(tub)
    state = walk(visits, tub, visit, clock, StepKind.DOSE, ph=8.2)
    later = next(s.key for s in state.steps if s.step.kind is StepKind.DOSE and s.key != key(state))
    visits.tell(tub, visit, Told(What.OTHER_AMOUNT, key(state), measures=1.0))
    clock.time += timedelta(minutes=3)
    state = visits.tell(tub, visit, Told(What.DONE, later))
    assert len(doses(keeping, tub)) == 2 and state.replanned[0].kind == "replanned-late"


def test_who_leaves_hands_over_and_somebody_else_takes_up(visits: Visits, tub: str, clock: Clock) -> None:
    visit = visits.begin(tub, Wishes(later_by="the neighbour"))
    walk(visits, tub, visit, clock, StepKind.WAIT)
    left = visits.tell(tub, visit, Told(What.LEFT, to="the neighbour"), Source("Ada"))
    assert left.phase is Phase.LEFT and left.handed is not None
    assert (left.handed.to, left.handed.by) == ("the neighbour", "Ada")
    assert visits.tell(tub, visit, Told(What.TAKEN_UP), Source("Ben")).phase is Phase.RUNNING


def test_care_done_during_a_wait_is_entered_as_care(visits: Visits, keeping: Keeping, tub: str, clock: Clock) -> None:
    visit = visits.begin(tub)
    state = walk(visits, tub, visit, clock, StepKind.WAIT)
    assert state.beside
    after = visits.tell(tub, visit, Told(What.DONE, state.beside[0].key))
    assert after.beside[0].status is Status.DONE
    cared = [e.task for e in keeping.file(tub).events if isinstance(e, Cared)]
    assert cared[-1] == state.beside[0].step.task and cared.count(cared[-1]) == 1


def test_a_phone_whose_clock_is_wrong_puts_nothing_before_the_visit_or_into_the_future(
    visits: Visits, keeping: Keeping, tub: str, clock: Clock
) -> None:
    visit = visits.begin(tub)
    state = walk(visits, tub, visit, clock, StepKind.DOSE)
    state = visits.tell(tub, visit, Told(What.DONE, key(state), at=clock.time + timedelta(days=400)))
    assert state.added[0].at == clock.time
    dosed = next(s.key for s in state.steps if s.entry == state.last)
    visits.tell(tub, visit, Told(What.UNDONE, about=state.last))
    state = visits.tell(tub, visit, Told(What.DONE, dosed, at=NOW.replace(year=1990)))
    assert state.added[0].at == state.begun


@pytest.mark.parametrize(
    "told",
    [
        Told(What.DONE, "9.9"),
        Told(What.BEGUN),
        Told(What.RETEST, "0.0", test={"method": "strip", "pH": 40}),
        Told(What.NOT_SURE, "0.0"),
        Told(What.LEFT, to="a\x00b"),
    ],
)
def test_what_cannot_be_said_is_refused(visits: Visits, tub: str, told: Told) -> None:
    visit = visits.begin(tub)
    with pytest.raises(InputError):
        visits.tell(tub, visit, told)


def test_an_unknown_visit_is_said(visits: Visits, tub: str) -> None:
    with pytest.raises(UnknownEntry):
        visits.show(tub, "nowhere")


def test_a_name_that_is_too_long_is_refused(visits: Visits, tub: str) -> None:
    with pytest.raises(InputError):
        visits.begin(tub, id="v" * 51)
    visit = visits.begin(tub)
    with pytest.raises(InputError):
        visits.tell(tub, visit, Told(What.DONE, "0.0"), id="t" * 71)


def test_care_that_was_undone_is_withdrawn(visits: Visits, keeping: Keeping, tub: str, clock: Clock) -> None:
    visit = visits.begin(tub)
    state = walk(visits, tub, visit, clock, StepKind.WAIT)
    after = visits.tell(tub, visit, Told(What.DONE, state.beside[0].key))
    assert state.beside[0].step.task in {e.task for e in keeping.file(tub).events if isinstance(e, Cared)}
    visits.tell(tub, visit, Told(What.UNDONE, about=after.last))
    assert state.beside[0].step.task not in {e.task for e in keeping.file(tub).events if isinstance(e, Cared)}


@pytest.mark.parametrize("pause", [0.0, 4.0, 9.0])
def test_the_end_says_when_a_test_counts_by_the_doses_as_they_went_in(
    visits: Visits, keeping: Keeping, tub: str, clock: Clock, pause: float
) -> None:
    _, state = oxidized(visits, tub, clock, pause)
    case, dosed = keeping.case(tub), max(a.at for a in state.added if a.substance == "monopersulfate")
    end = end_of_visit(case, state)
    over = dosed + timedelta(minutes=case.monopersulfate_minutes)
    assert state.phase is Phase.FINISHED and case.in_monopersulfate_window
    assert over <= from_when(end) <= over + timedelta(minutes=15) and end.back == from_when(end)
    clock.time = from_when(end)
    assert not keeping.case(tub).in_monopersulfate_window


def test_the_end_names_the_time_that_the_next_plan_of_the_tub_names(
    visits: Visits, keeping: Keeping, tub: str, clock: Clock
) -> None:
    _, state = oxidized(visits, tub, clock, 4.0)
    plan = keeping.plan(tub)
    test = next(step for step in plan.steps if step.kind is StepKind.TEST)
    counts = plan.begins + timedelta(minutes=test.starts_at)
    assert timedelta() <= from_when(end_of_visit(keeping.case(tub), state)) - counts < timedelta(minutes=1)


def test_what_is_still_to_go_in_moves_the_end(visits: Visits, keeping: Keeping, tub: str, clock: Clock) -> None:
    visit = visits.begin(tub)
    walk(visits, tub, visit, clock, StepKind.DOSE)
    early = from_when(end_of_visit(keeping.case(tub), visits.show(tub, visit)))
    clock.time += timedelta(minutes=25)
    late = from_when(end_of_visit(keeping.case(tub), visits.show(tub, visit)))
    assert abs(late - early - timedelta(minutes=25)) <= timedelta(minutes=1)


@pytest.mark.parametrize(("early", "moved"), [(30.0, 30.0), (-180.0, 0.0)])
def test_a_plan_that_waits_for_more_than_its_doses_keeps_its_times_unless_no_test_counts_by_then(
    visits: Visits, keeping: Keeping, tub: str, clock: Clock, early: float, moved: float
) -> None:
    _, state = oxidized(visits, tub, clock, 4.0)
    case = keeping.case(tub)
    first = from_when(end_of_visit(case, state)) - timedelta(minutes=early)
    second = first + timedelta(hours=12)
    opens = replace(state.plan.fit_when[0], values={**state.plan.fit_when[0].values, "time": second.isoformat()})
    twice = Reason("two-good-readings", {"first": first.isoformat(), "second": second.isoformat()})
    plan = replace(state.plan, situation="recovery", fit_when=(opens, twice), next_visit=second)
    end = end_of_visit(case, replace(state, plan=plan))
    assert end.back == from_when(end) == second + timedelta(minutes=moved)
    assert datetime.fromisoformat(str(end.fit_when[1].values["first"])) == first + timedelta(minutes=moved)


@pytest.mark.parametrize("what", [What.NOT_IN_HAND, What.SKIPPED])
def test_a_dose_that_is_not_in_starts_no_wait_and_its_checks_are_not_lost(
    visits: Visits, tub: str, clock: Clock, what: What
) -> None:
    visit = visits.begin(tub)
    state = walk(visits, tub, visit, clock, StepKind.DOSE)
    checks = {s.step.task for s in state.steps if s.beside}
    state = visits.tell(tub, visit, Told(what, key(state)))
    assert checks and state.due is None and state.turn is not None and state.turn.step.kind is not StepKind.WAIT
    assert checks <= {s.step.task for s in state.steps if not s.answered}


def test_after_the_visit_every_check_was_made_or_is_still_open(visits: Visits, tub: str, clock: Clock) -> None:
    visit = visits.begin(tub)
    asked = {s.step.task for s in visits.show(tub, visit).steps if s.beside}
    state = walk(visits, tub, visit, clock, StepKind.HAND_OVER)
    assert "inspect-suction-covers" in asked and asked <= {s.step.task for s in state.steps}
    done = {s.step.task for s in state.steps if s.status is Status.DONE}
    assert state.phase is Phase.FINISHED and "inspect-suction-covers" in done


def test_a_correction_of_another_amount_leaves_its_time_even_when_a_phone_says_its_own(
    visits: Visits, tub: str, clock: Clock
) -> None:
    visit = visits.begin(tub)
    state = walk(visits, tub, visit, clock, StepKind.DOSE)
    dosed, at = key(state), clock.time
    state = visits.tell(tub, visit, Told(What.OTHER_AMOUNT, dosed, amount="8000 g"))
    assert state.doubted is not None
    clock.time += timedelta(minutes=3)
    state = visits.tell(tub, visit, Told(What.OTHER_AMOUNT, dosed, at=clock.time, amount="20 g"))
    assert state.doubted is None and [(a.grams, a.at) for a in state.added] == [(20.0, at)]
