"""The outlook with its what-ifs, what has built up, what was learned, and what may be wrong, as pages."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient

from tubwater.services.keeping import Keeping
from tubwater.services.ports import Kind
from web.harness import Clock

MOST_BYTES = 100_000
PARTY = "party_people=6&party_at=2026-12-05T20:00&opening=50&test=photometer"
MISMEANT = (
    "party_people=6",
    "party_people=many",
    "party_people=-1&party_at=2026-12-05T20:00",
    "away_from=2026-12-05T20:00",
    "away_from=2026-12-05T20:00&away_until=2026-12-04T20:00",
    "away_from=2020-01-01T00:00&away_until=2026-12-05T20:00",
    "opening=200",
    "tablets=nan",
    "test=tea",
    "days=400",
)


@pytest.fixture
def known(keeping: Keeping, clock: Clock, tub: str) -> str:
    """A tub that was filled, tested and fed a week ago, and tested again now."""
    keeping.record(tub, Kind.FILLED, {"volume": "1300 L"})
    keeping.record(tub, Kind.FEEDER, {"product": "tablets", "tablets": 3, "opening": 0.5})
    keeping.record(tub, Kind.TEST, {"method": "photometer", "bromine": 4, "pH": 7.4})
    clock.time += timedelta(days=7)
    keeping.record(tub, Kind.TEST, {"method": "photometer", "bromine": 3, "pH": 7.6})
    return tub


def words(text: str) -> str:
    """What a page says, without its markup."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", text.replace("&nbsp;", " ")))


def test_the_outlook_has_its_charts_and_each_a_table(client: TestClient, known: str) -> None:
    page = client.get(f"/tubs/{known}/outlook").text
    assert page.count("<figure") == page.count("<table") == 2
    assert "Test now: " in words(page) and "With what you ask" not in words(page)


def test_what_is_asked_stands_beside_what_would_be_without_it(client: TestClient, known: str) -> None:
    page = client.get(f"/tubs/{known}/outlook?{PARTY}").text
    assert "With what you ask" in words(page) and "A test now with a photometer would" in words(page)
    assert "6 people" in page and len(page.encode()) < MOST_BYTES
    assert 'value="2026-12-05T20:00"' in page  # what was asked is still there


def test_what_cannot_be_meant_is_said_and_the_outlook_still_shown(client: TestClient, known: str) -> None:
    for query in MISMEANT:
        answer = client.get(f"/tubs/{known}/outlook?{query}")
        assert answer.status_code == 422, query
        assert re.search("Expected: |One of these has to be chosen", answer.text) and answer.text.count("<figure") == 2


def test_a_party_without_a_time_is_asked_for_it_under_the_name_of_the_form(client: TestClient, known: str) -> None:
    said = words(client.get(f"/tubs/{known}/outlook?party_people=6").text)
    assert "Many people at once: When Nothing is entered. Expected: when they come, such as 2026-11-28 20:00." in said
    german = {"Accept-Language": "de"}
    said = words(client.get(f"/tubs/{known}/outlook?party_people=6", headers=german).text)
    assert "Nichts eingetragen. Erwartet: wann sie kommen, etwa 2026-11-28 20:00." in said


def test_one_end_of_an_absence_is_told_beside_the_other(client: TestClient, known: str) -> None:
    page = client.get(f"/tubs/{known}/outlook?away_from=2026-12-05T20:00").text
    assert 'id="au-e"' in page and "both a beginning and an end" in page


def test_the_ledger_says_that_tablets_count_as_they_dissolve(client: TestClient, known: str) -> None:
    said = words(client.get(f"/tubs/{known}/ledger").text)
    assert "In the feeder, as set Wed 25 Nov, 12:00: tablets (3); they count as they dissolve." in said


def test_the_learned_litres_stand_beside_those_of_the_plate(client: TestClient, known: str) -> None:
    said = words(client.get(f"/tubs/{known}/learned").text)
    assert re.search(r"Larch holds about [\d,]+ L \([\d,]+ L to [\d,]+ L\)\. The plate says 1,?300 L\.", said)


def test_the_ledger_says_when_to_drain_and_what_a_part_would_do(client: TestClient, known: str) -> None:
    page = client.get(f"/tubs/{known}/ledger?change=650+L").text
    assert re.search(r"Filled 25 Nov 2026; 1 weeks ago\. .* filled in, .* let out\.", words(page))
    assert "Drain by" in words(page) and re.search(r"leaves (4\d|5\d) % of the old water", words(page))
    assert page.count("<table") == 3
    assert client.get(f"/tubs/{known}/ledger?change=9000+L").status_code == 422


def test_troubles_are_ranked_with_a_check_that_can_be_answered(client: TestClient, known: str) -> None:
    asked = client.get(f"/tubs/{known}/troubles?sign=foam").text
    check = re.findall(r'name="([\w-]+)" value="yes"', asked)
    assert len(check) == 1 and asked.count("<h3") == 5
    told = client.get(f"/tubs/{known}/troubles?sign=foam&{check[0]}=no").text
    assert f'name="{check[0]}" value="yes"' not in told


def test_whoever_is_unwell_gets_advice_and_no_causes(client: TestClient, known: str) -> None:
    page = client.get(f"/tubs/{known}/troubles?sign=skin&sign=foam").text
    assert "Everybody out" in page and "What it may be" not in page


@pytest.mark.parametrize("page", ["outlook", "learned", "ledger", "troubles"])
def test_a_tub_of_which_nothing_is_known_has_these_pages_too(client: TestClient, tub: str, page: str) -> None:
    answer = client.get(f"/tubs/{tub}/{page}")
    assert answer.status_code == 200 and len(answer.content) < MOST_BYTES
    assert f'href="/tubs/{tub}/{page}"' in client.get(f"/tubs/{tub}").text
