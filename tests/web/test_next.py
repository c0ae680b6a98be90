"""What the page of a tub says comes next."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from fastapi.testclient import TestClient

from tubwater.advice import Wishes
from tubwater.reports.plain import moment
from tubwater.services.answers import Answers
from tubwater.services.keeping import Keeping
from tubwater.services.ports import Kind
from tubwater.services.visits import Visits
from tubwater.tub import Plan, StepKind
from tubwater.web.show import say
from web.harness import ZONE, Clock

BEGIN = say("next.test-from", at="2026-11-25T12:00").split("Wed")[0]


def test_while_the_oxidizer_works_the_test_stands_with_the_time_from_which_it_counts(
    client: TestClient, keeping: Keeping, clock: Clock, tub: str
) -> None:
    keeping.record(tub, Kind.TEST, {"method": "strip", "bromine": 4, "pH": 7.4, "total_alkalinity": 100})
    keeping.record(tub, Kind.DOSED, {"product": "oxidizer", "amount": "20 g"})
    clock.time += timedelta(minutes=10)
    assert BEGIN in client.get(f"/tubs/{tub}").text


def test_without_a_wait_the_test_is_simply_next(client: TestClient, tub: str) -> None:
    text = client.get(f"/tubs/{tub}").text
    assert say("next.test") in text and BEGIN not in text


def test_during_a_visit_the_answer_to_a_test_leads_back_to_it(client: TestClient, keeping: Keeping, tub: str) -> None:
    keeping.record(tub, Kind.TEST, {"method": "strip", "bromine": 2, "pH": 7.4}, id="read")
    before = client.get(f"/tubs/{tub}/tested/read").text
    visit = Visits(keeping).begin(tub)
    said = client.get(f"/tubs/{tub}/tested/read").text
    assert f'class="do" href="/tubs/{tub}/visit/{visit}"' in said and "/visit/" not in before
    assert say("next.first", product="oxidizer") in before and say("next.first", product="oxidizer") not in said


def test_what_happened_since_the_last_reading_stands_beside_what_is_believed_now(
    client: TestClient, keeping: Keeping, clock: Clock, tub: str
) -> None:
    keeping.record(tub, Kind.TEST, {"method": "strip", "bromine": 3, "pH": 7.5})
    clock.time += timedelta(hours=13)
    assert say("tub.since.age", hours=13.0).split(";")[0] in unbound(client.get(f"/tubs/{tub}").text)
    keeping.record(tub, Kind.SOAKED, {"people": 2, "lasted": "30 min"})
    keeping.record(tub, Kind.DOSED, {"product": "oxidizer", "amount": "20 g"})
    assert "Since that reading: 1 soak, 1 dose." in unbound(client.get(f"/tubs/{tub}").text)


def test_a_feeder_that_was_just_set_so_is_not_asked_for_again(
    client: TestClient, keeping: Keeping, clock: Clock, tub: str
) -> None:
    body = {"method": "photometer", "bromine": 4.5, "pH": 7.5}
    keeping.record(tub, Kind.NOTICED, {"clarity": "clear"})
    keeping.record(tub, Kind.TEST, body)
    step = next(s for s in client.get(f"/api/tubs/{tub}/plan").json()["steps"] if s["kind"] == "set feeder")
    other = {"product": "tablets", "tablets": step["tablets"] + 1, "opening": step["opening"]}
    for told, asked in ((other, True), ({**other, "tablets": step["tablets"]}, False)):
        clock.time += timedelta(minutes=1)
        keeping.record(tub, Kind.FEEDER, told)
        work = client.get(f"/api/tubs/{tub}/next").json()
        assert ((work["step"] or {}).get("kind") == "set feeder") is asked


GOOD = {"method": "photometer", "bromine": 4.5, "pH": 7.4}
TASKS = ("air-cover", "check-level", "inspect-suction-covers", "rinse-filter", "wipe-waterline")


@pytest.fixture
def kept(keeping: Keeping, clock: Clock, tub: str, monkeypatch: pytest.MonkeyPatch) -> str:
    """A tub that is fit and whose plan has no work but care, as after everything that it asked for."""
    keeping.record(tub, Kind.NOTICED, {"clarity": "clear"})
    keeping.record(tub, Kind.TEST, {"method": "strip", "total_alkalinity": 80})
    keeping.record(tub, Kind.TEST, GOOD)
    clock.time += timedelta(minutes=1)
    planned = Answers.plan

    def idle(answers: Answers, tub: str, wishes: Wishes | None = None) -> Plan:
        plan = planned(answers, tub, wishes)
        return replace(plan, steps=tuple(step for step in plan.steps if step.kind is StepKind.CHECK))

    monkeypatch.setattr(Answers, "plan", idle)
    return tub


def test_without_work_in_the_plan_what_is_due_now_is_told_and_the_next_test_by_when(
    client: TestClient, kept: str
) -> None:
    said = unbound(client.get(f"/tubs/{kept}").text)
    assert "Due now: Test the calcium hardness." in said and "5 more things are due." in said
    assert "Nothing to do until" not in said and f'href="/tubs/{kept}/due"' in said
    told = client.get(f"/api/tubs/{kept}/next").json()
    assert (told["kind"], told["due"]["key"]) == ("due", "test-calcium")
    at = moment(when_tested(told_by(client, kept)).astimezone(ZONE))
    assert say("next.then-test", at=at) in said


def test_where_nothing_is_due_yet_the_next_test_is_what_comes(client: TestClient, keeping: Keeping, kept: str) -> None:
    for task in TASKS:
        keeping.record(kept, Kind.CARED, {"task": task})
    keeping.record(kept, Kind.TEST, {"method": "drop-titration", "calcium_hardness": 150})
    said = unbound(client.get(f"/tubs/{kept}").text)
    told = client.get(f"/api/tubs/{kept}/next").json()
    assert (told["kind"], told["due"]["kind"], told["due"]["key"]) == ("nothing", "test", "bromine")
    assert say("next.test-by", at=moment(datetime.fromisoformat(told["due"]["at"]).astimezone(ZONE))) in said
    assert "Due now" not in said and "Nothing to do until" not in said


def test_what_a_test_says_comes_next_is_what_is_due(client: TestClient, keeping: Keeping, kept: str) -> None:
    keeping.record(kept, Kind.TEST, {"method": "photometer", "bromine": 5, "pH": 7.5}, id="again")
    said = unbound(client.get(f"/tubs/{kept}/tested/again").text)
    assert "Due now: " in said and "Nothing to do until" not in said


def told_by(client: TestClient, tub: str) -> list[dict[str, str]]:
    found: list[dict[str, str]] = client.get(f"/api/tubs/{tub}/due").json()
    return found


def when_tested(dues: list[dict[str, str]]) -> datetime:
    """When the sanitizer has to be tested."""
    return datetime.fromisoformat(next(due["at"] for due in dues if due["key"] == "bromine"))


def unbound(text: str) -> str:
    return text.replace("&nbsp;", " ")
