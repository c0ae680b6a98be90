"""What the page of a tub says comes next."""

from __future__ import annotations

from datetime import timedelta

from fastapi.testclient import TestClient

from tubwater.services.keeping import Keeping
from tubwater.services.ports import Kind
from tubwater.services.visits import Visits
from tubwater.web.show import say
from web.harness import Clock

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


def unbound(text: str) -> str:
    return text.replace("&nbsp;", " ")
