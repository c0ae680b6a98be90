"""A plan for something else, as pages and over the interface: asked, shown, carried out as a visit."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient

from tubwater.facts.purposes import purposes
from tubwater.services.keeping import Keeping
from tubwater.services.ports import Kind
from tubwater.services.visits import Told, Visits, What
from tubwater.tub import StepKind
from web.harness import Clock


@pytest.fixture
def known(keeping: Keeping, clock: Clock, tub: str) -> str:
    """A tub that was filled a week ago and tested now."""
    keeping.record(tub, Kind.FILLED, {"volume": "1300 L"})
    clock.time += timedelta(days=7)
    keeping.record(tub, Kind.TEST, {"method": "photometer", "bromine": 4, "pH": 7.5})
    return tub


def words(text: str) -> str:
    """What a page says, without its markup."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", text.replace("&nbsp;", " ")))


def test_the_page_lists_everything_that_this_tub_can_be_asked_about(client: TestClient, known: str) -> None:
    page = client.get(f"/tubs/{known}/about").text
    mine = [p.key for p in purposes().values() if p.tub in ("", "bromine")]
    assert re.findall(r'(?:name="about" value="|/plan\?about=)([^"&]+)"', page) == mine
    for key in mine:
        assert all(f'name="say_{name}"' in page for name in purposes()[key].asks)
    assert "/about" in client.get(f"/tubs/{known}").text


def test_the_plan_that_is_asked_for_is_shown_and_asked_again(client: TestClient, known: str) -> None:
    answer = client.get(f"/tubs/{known}/plan?about=winter&say_days=100")
    assert answer.status_code == 200 and "Out of use over the winter" in words(answer.text)
    assert f"/tubs/{known}/visit?about=winter&amp;say_days=100" in answer.text
    assert 'name="say_days" value="100"' in answer.text


@pytest.mark.parametrize(
    "query", ["about=winter&say_days=9999", "about=winter&say_days=soon", "about=winter&say_people=3"]
)
def test_a_number_that_cannot_be_meant_is_said(client: TestClient, known: str, query: str) -> None:
    answer = client.get(f"/tubs/{known}/plan?{query}")
    assert answer.status_code == 422 and "Expected:" in answer.text


def test_what_nobody_knows_is_not_there(client: TestClient, known: str) -> None:
    assert client.get(f"/tubs/{known}/plan?about=tea").status_code == 404
    assert client.get(f"/api/tubs/{known}/plan?about=tea").status_code == 404


def test_the_interface_gives_the_same_plan_and_the_list(client: TestClient, known: str) -> None:
    listed = client.get(f"/api/tubs/{known}/purposes").json()
    assert {"key": "part-change", "asks": {"litres": {"usual": None, "low": 10.0, "high": 30000.0}}} in listed
    plan = client.get(f"/api/tubs/{known}/plan", params={"about": "part-change", "say": "litres=300 L"}).json()
    assert plan["situation"] == "part-change"
    assert [s["litres"] for s in plan["steps"] if s["kind"] == "drain"] == [300.0]
    refused = client.get(f"/api/tubs/{known}/plan", params={"about": "part-change", "say": "litres=300 gal"})
    assert refused.status_code == 422  # US and imperial gallons differ


def test_a_visit_about_something_goes_on_where_it_stands(
    client: TestClient, keeping: Keeping, clock: Clock, known: str
) -> None:
    form = client.get(f"/tubs/{known}/visit?about=part-change&say_litres=300").text
    assert 'name="about" value="part-change"' in form and 'name="say_litres" value="300"' in form
    client.post(f"/tubs/{known}/visit", data={"about": "part-change", "say_litres": "300", "key": "change"})
    visits = Visits(keeping)
    assert visits.show(known, "change").plan.situation == "part-change"
    assert visits.wishes(known, "change").about.since is not None  # type: ignore[union-attr]
    _done_until_the_test(visits, clock, known)
    state = visits.show(known, "change")
    told = Told(What.RETEST, state.turn.key, test={"method": "photometer", "bromine": 3, "pH": 7.5})  # type: ignore[union-attr]
    after = visits.tell(known, "change", told)
    assert not any(row.step.kind is StepKind.DRAIN for row in after.steps if not row.answered)


def _done_until_the_test(visits: Visits, clock: Clock, tub: str) -> None:
    while (turn := visits.show(tub, "change").turn) is not None and turn.step.kind is not StepKind.TEST:
        clock.time += timedelta(minutes=turn.step.minutes)
        visits.tell(tub, "change", Told(What.DONE, turn.key))


def test_the_interface_begins_a_visit_about_something(client: TestClient, known: str) -> None:
    answer = client.put(f"/api/tubs/{known}/visits/asked", json={"about": "winter", "say": {"days": "90"}})
    assert answer.status_code == 200
    refused = client.put(f"/api/tubs/{known}/visits/other", json={"about": "winter", "say": {"days": "1"}})
    assert refused.status_code in (409, 422)
