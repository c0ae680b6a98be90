"""Beginning a visit: the way back to it, who joins whose, and pages that do not wait for what the phone takes along."""

from __future__ import annotations

import re
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta
from html import unescape
from threading import Event
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from fastapi.testclient import TestClient

from tubwater.errors import UnknownEntry
from tubwater.reports.units import moment_from
from tubwater.services.keeping import Keeping
from tubwater.services.packet import Packet
from tubwater.services.ports import Kind, Source
from tubwater.services.visits import Told, Visits, What
from tubwater.web import create_app, visit_api
from web.beside import HIGH_PH
from web.harness import Clock


def test_a_tub_leads_to_its_visit_and_to_its_card(client: TestClient, keeping: Keeping, tub: str) -> None:
    before = client.get(f"/tubs/{tub}").text
    assert f'href="/tubs/{tub}/card"' in before and "Go on with the visit" not in before
    visit = Visits(keeping).begin(tub)
    for page in (f"/tubs/{tub}", f"/tubs/{tub}/plan"):
        assert "Go on with the visit" in client.get(page).text
    assert f'href="/tubs/{tub}/visit/{visit}"' in client.get(f"/tubs/{tub}").text
    Visits(keeping).tell(tub, visit, Told(What.CLOSED))
    assert "Go on with the visit" not in client.get(f"/tubs/{tub}").text


def test_whoever_begins_while_a_visit_runs_joins_it_and_is_told_so(
    client: TestClient, keeping: Keeping, tub: str
) -> None:
    visit = Visits(keeping).begin(tub, source=Source("ash"))
    answer = client.post(f"/tubs/{tub}/visit", data={"key": "another"}, follow_redirects=False)
    assert answer.headers["location"].startswith(f"/tubs/{tub}/visit/{visit}?")
    assert "began this visit at 12:00" in client.get(answer.headers["location"]).text
    assert "began this visit" not in client.get(f"/tubs/{tub}/visit/{visit}").text
    assert Visits(keeping).of(tub) == (visit,)


def test_the_page_of_a_visit_does_not_wait_for_what_the_phone_takes_along(
    client: TestClient, keeping: Keeping, tub: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    visit = Visits(keeping).begin(tub)
    begun, ready = Event(), Event()

    def late(keeping: Keeping, tub: str, visit: str) -> Packet:
        begun.set()
        assert ready.wait(300)
        raise UnknownEntry("visit", visit)  # what it would be is tested elsewhere

    monkeypatch.setattr(visit_api, "packet_of", late)
    with ThreadPoolExecutor(1) as pool:
        packet: Any = pool.submit(client.get, f"/api/tubs/{tub}/visits/{visit}/packet")
        try:
            assert begun.wait(300)
            page = client.get(f"/tubs/{tub}/visit/{visit}")
            assert page.status_code == 200 and "data-screen" in page.text
            assert not packet.done()
        finally:
            ready.set()
        assert packet.result(300).status_code == 404


def test_into_a_feeder_go_tablets(client: TestClient, tub: str) -> None:
    assert re.findall(r'<option value="([^"]+)"', client.get(f"/tubs/{tub}/add/feeder").text) == ["tablets"]
    assert len(re.findall("<option", client.get(f"/tubs/{tub}/add/dosed").text)) == 5


def test_the_times_in_sentences_are_those_of_the_keepers_zone(keeping: Keeping, tub: str) -> None:
    keeping.record(tub, Kind.TEST, HIGH_PH)
    zone = ZoneInfo("Pacific/Auckland")
    page = TestClient(create_app(keeping, zone=zone, hosts=None)).get(f"/tubs/{tub}/plan").text
    plan = keeping.plan(tub)
    (said,) = {datetime.fromisoformat(str(one.values["time"])) for one in plan.fit_when if "time" in one.values}
    shown = unescape(re.sub(r"<[^>]+>", " ", page)).replace("\xa0", " ")
    assert moment_from(said.astimezone(zone)) in shown and moment_from(said) not in shown


def test_the_first_page_and_the_tubs_page_lead_back_to_a_visit_that_was_begun_today(
    client: TestClient, keeping: Keeping, clock: Clock, tub: str
) -> None:
    pages = ("/", f"/tubs/{tub}")
    assert not any("under way" in client.get(page).text for page in pages)
    visit = Visits(keeping).begin(tub)
    way = re.compile(rf'<a href="/tubs/{tub}/visit/{visit}">A visit is under way, begun [^<]*12:00: go on</a>')
    clock.time += timedelta(minutes=30)
    assert all(way.search(client.get(page).text.replace("&nbsp;", " ")) for page in pages)
    clock.time += timedelta(hours=30)
    assert not any(way.search(client.get(page).text.replace("&nbsp;", " ")) for page in pages)
    clock.time -= timedelta(hours=30)
    Visits(keeping).tell(tub, visit, Told(What.CLOSED))
    assert not any(way.search(client.get(page).text.replace("&nbsp;", " ")) for page in pages)
