"""Bad input and faults: a clear message, and nothing that was entered is lost."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from datetime import timedelta

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st
from playwright.sync_api import BrowserContext, Page, expect

from tubwater.services.accounts import Accounts
from tubwater.services.keeping import Keeping
from tubwater.services.ports import Kind
from tubwater.web import create_app
from tubwater.web.guard import MOST_BYTES
from web.harness import WORDS, ZONE, Clock, hold, serve
from web.world import World, routes

GOOD = {"method": "photometer", "bromine": 4.5, "pH": 7.5}
TEST = {"method": "strip", "bromine": "3", "pH": "7.5", "key": "one"}
KNOWN = {"tub": "larch", "visit": "begun", "entry": "read", "kind": "dosed", "number": "0", "secret": "x"}


@pytest.fixture(scope="module")
def world() -> World:
    found = World()
    found.entries.remember()
    return found


@pytest.fixture(scope="module")
def posting(world: World) -> TestClient:
    return TestClient(world.app, raise_server_exceptions=False, follow_redirects=False)


def posts(world: World) -> list[str]:
    """The address of each form, with names that exist."""
    return sorted(re.sub(r"{(\w+)}", lambda name: KNOWN.get(name[1], "x"), path) for path in routes(world.app, "POST"))


def kept(world: World) -> int:
    return sum(len(world.entries.of(tub)) for tub in world.entries.tubs())


# Wrong types

FIELDS = (
    *("method", "bromine", "pH", "total_alkalinity", "clarity", "sign", "at", "key", "after", "scale", "people"),
    *("minutes", "other_minutes", "other_people", "product", "grams", "amount", "measures", "tablets", "opening"),
    *("volume", "task", "what", "hours", "why", "substance", "name", "strength", "measure", "stock", "litres", "pot"),
    *("sanitizer", "units", "temperature", "heater", "soaks_per_week", "soak_minutes", "fill_pH", "fill_source"),
    *("fill_total_alkalinity", "unit_total_alkalinity", "days", "later_by", "step", "about", "to", "locked", "case"),
    *("next", "password", "device", "address", "soak_not_noted", "volume_from", "kind", "setting", "guideline"),
    *("size", "price", "expires", "opened", "counted_now", "remove", "saw_kind", "saw_product", "weighed"),
)
ODD = st.sampled_from(
    (
        *("", "0", "-1", "1e999", "-inf", "nan", "1,5", "1 200", "0x10", "٣", "½", "many", "true", "null", "[]", "{}"),
        *("[[[[", '{"a": 1}', "1:2", ":", "<6.8", ">", "1 to 2", "\x00", "\U0001f6c1", "a" * 5000, "../x", "%00"),
        *("2026-11-20T09:00", "2026-13-45", "9999-12-31T23:59", "0001-01-01T00:00", "now", "15 g", "15 kg", "-3 g"),
    )
)


def test_nothing_odd_in_any_form_is_answered_with_a_fault_and_what_is_refused_keeps_nothing(
    world: World, posting: TestClient
) -> None:
    @seed(5)
    @settings(max_examples=200, phases=[Phase.generate], suppress_health_check=list(HealthCheck), deadline=None)
    @given(path=st.sampled_from(posts(world)), sent=st.dictionaries(st.sampled_from(FIELDS), ODD, max_size=12))
    def sent_in(path: str, sent: dict[str, str]) -> None:
        world.entries.rewind()
        before = kept(world)
        answer = posting.post(path, data=sent)
        assert answer.status_code < 500, (path, sent)
        assert answer.status_code < 400 or kept(world) == before, (path, sent)

    sent_in()
    world.entries.rewind()


@pytest.mark.parametrize(
    ("head", "content"),
    [
        ("application/json", b'{"people": 2}'),
        ("multipart/form-data; boundary=x", b"--x\r\nbroken"),
        ("multipart/form-data", b"no boundary"),
        ("application/x-www-form-urlencoded", b"\xff\xfe=%zz&&&=;"),
        ("application/x-www-form-urlencoded", b"a=b&" * 5000),
        ("text/plain", b"people=2"),
        ("", b""),
    ],
)
def test_a_body_of_another_kind_is_refused_or_read_as_empty(
    world: World, posting: TestClient, head: str, content: bytes
) -> None:
    for path in posts(world):
        world.entries.rewind()
        assert posting.post(path, content=content, headers={"content-type": head}).status_code < 500, path
    world.entries.rewind()


def test_what_was_typed_stands_in_the_form_that_refuses_it(client: TestClient, keeping: Keeping, tub: str) -> None:
    answer = client.post(f"/tubs/{tub}/out", data={"people": "2", "minutes": "ages", "key": "k"})
    assert answer.status_code == 422 and "ages" in answer.text and 'value="k"' in answer.text
    answer = client.post(f"/tubs/{tub}/add/dosed", data={"product": "dry acid", "amount": "a handful"})
    assert answer.status_code == 422 and 'value="a handful"' in answer.text
    assert not [s for s in keeping.entries(tub) if s.entry.kind in (Kind.SOAKED, Kind.DOSED)]


# Huge bodies and tricks with paths


def test_a_body_that_grows_too_large_while_it_comes_is_refused(client: TestClient, keeping: Keeping, tub: str) -> None:
    def endless() -> Iterator[bytes]:
        yield b"people="
        for _ in range(MOST_BYTES // 1000 + 10):
            yield b"2" * 1000

    head = {"content-type": "application/x-www-form-urlencoded"}
    before = len(keeping.entries(tub))
    answer = client.post(f"/tubs/{tub}/out", content=endless(), headers=head)
    assert answer.status_code == 413 and "more than can be taken" in answer.text
    assert len(keeping.entries(tub)) == before


@pytest.mark.parametrize(
    "path",
    [
        *("/static/../app.py", "/static/%2e%2e/%2e%2e/pyproject.toml", "/static/..%2f..%2fapp.py", "//elsewhere.test/"),
        *("/tubs/..%2f..%2fetc%2fpasswd", "/tubs/%00", "/tubs/%ff%fe", "/tubs/" + "a" * 9000, "/tubs/larch/shelf/-1"),
        *("/tubs/larch/shelf/99999999999999999999", "/tubs/larch/shelf/٣", "/tubs/larch/logbook/%0a", "/tubs//plan"),
        *("/tubs/larch/logbook?older=-1", "/tubs/larch/logbook?older=99999999999999999999", "/tubs/larch/add/test"),
        *("/tubs/larch/happened/..%2f", "/tubs/larch/plan?minutes=nan", "/tubs/larch/plan?days=1e999", "/pair/%00"),
        *(
            "/tubs/larch/volume?way=hose&bucket=0&seconds=0&minutes=0",
            "/tubs/larch/settings?litres=%00",
            "/login?next=%0d",
        ),
        *("/tubs/larch/test?method=%00", "/api/tubs/..%2f/visit", "/api/tubs/larch/visits/" + "v" * 101),
    ],
)
def test_a_trick_with_a_path_finds_nothing_and_breaks_nothing(client: TestClient, tub: str, path: str) -> None:
    answer = client.get(path)
    assert answer.status_code in (200, 400, 404, 422)
    assert "root:" not in answer.text and "[project]" not in answer.text and "import " not in answer.text


# Replayed and forged requests, posts from elsewhere


def test_a_form_that_is_sent_again_counts_once(client: TestClient, keeping: Keeping, tub: str) -> None:
    for _ in range(3):
        assert client.post(f"/tubs/{tub}/test", data=TEST, follow_redirects=False).status_code == 303
    assert len(keeping.file(tub).events) == 1


def test_another_content_under_the_name_of_a_sent_form_is_a_conflict(
    client: TestClient, keeping: Keeping, tub: str
) -> None:
    client.post(f"/tubs/{tub}/test", data=TEST)
    answer = client.post(f"/tubs/{tub}/test", data={**TEST, "pH": "8.2"})
    assert answer.status_code == 409 and "Somebody else was quicker" in answer.text
    assert keeping.line(tub, "one").body["pH"] == "7.5"


def test_what_is_told_of_the_visit_or_the_entry_of_another_tub_is_refused(world: World, posting: TestClient) -> None:
    world.entries.rewind()
    before = kept(world)
    for path in ("/tubs/rowan/visit/begun", "/tubs/rowan/logbook/read/withdraw", "/tubs/rowan/logbook/read/correct"):
        assert posting.post(path, data={"what": "closed"}).status_code == 404
    told = {"what": "closed"}
    assert posting.put("/api/tubs/rowan/visits/begun/told/x", json=told).status_code == 404
    assert kept(world) == before


@pytest.mark.parametrize("site", [{"sec-fetch-site": "cross-site"}, {"origin": "https://elsewhere.test"}])
def test_no_form_is_taken_from_another_site(world: World, posting: TestClient, site: dict[str, str]) -> None:
    before = kept(world)
    for path in posts(world):
        answer = posting.post(path, data=TEST, headers=site)
        assert answer.status_code == 403 and "another site" in answer.text, path
    assert kept(world) == before


@pytest.fixture
def guarded(keeping: Keeping, accounts: Accounts, tub: str) -> FastAPI:
    accounts.add("keeper", WORDS)
    return create_app(keeping, zone=ZONE, hosts=None, accounts=accounts)


@pytest.mark.parametrize("forged", ["x", "", "\x00", "a" * 5000, "../..", '"', "é"])
def test_a_forged_session_opens_nothing(guarded: FastAPI, tub: str, forged: str) -> None:
    client = TestClient(guarded, raise_server_exceptions=False, follow_redirects=False)
    for head in ({"cookie": f"tubwater={forged}".encode()}, {"authorization": f"Bearer {forged}".encode()}):
        assert client.get("/api/tubs", headers=head).status_code == 401
        assert client.get(f"/tubs/{tub}", headers=head).headers["location"].startswith("/login")


@pytest.mark.parametrize(
    "forged", [{"x-sequence": "-1"}, {"x-sequence": "9" * 40}, {"x-sent": "noon"}, {"x-device": "a" * 5000}]
)
def test_a_forged_origin_of_an_entry_is_left_out_and_the_entry_kept(
    client: TestClient, keeping: Keeping, tub: str, forged: dict[str, str]
) -> None:
    assert client.post(f"/tubs/{tub}/test", data=TEST, headers=forged, follow_redirects=False).status_code == 303
    assert len(keeping.file(tub).events) == 1


# Sessions that are over


def test_a_session_that_is_over_leads_to_the_login_and_keeps_nothing(
    guarded: FastAPI, keeping: Keeping, accounts: Accounts, clock: Clock, tub: str
) -> None:
    client = TestClient(guarded, raise_server_exceptions=False, follow_redirects=False)
    client.cookies.set("tubwater", accounts.log_in("keeper", WORDS).secret)
    assert client.get(f"/tubs/{tub}").status_code == 200
    clock.time += timedelta(days=31)
    before = len(keeping.entries(tub))
    assert client.get(f"/tubs/{tub}").headers["location"] == f"/login?next=/tubs/{tub}"
    assert client.post(f"/tubs/{tub}/test", data=TEST).headers["location"].startswith("/login")
    queued = client.post(f"/tubs/{tub}/test", data=TEST, headers={"x-sequence": "1"})
    assert queued.status_code == 401, "a phone would take a redirect for an answer and forget the entry"
    assert len(keeping.entries(tub)) == before


def test_what_is_entered_after_the_session_is_over_is_kept_on_the_phone_and_arrives_after_the_login(
    open_context: Callable[..., BrowserContext], guarded: FastAPI, keeping: Keeping, accounts: Accounts, clock: Clock
) -> None:
    address, stop = serve(guarded)
    page = open_context(base_url=address).new_page()
    hold(page, clock.time)
    log_in(page, "/tubs/larch/test")
    page.context.clear_cookies()
    page.locator("label", has_text="7.8").first.click()
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_text("Kept on this phone")).to_be_visible()
    expect(page.locator("[data-unsent]")).to_be_visible()
    log_in(page, "/tubs/larch")
    expect(page.locator("[data-unsent][hidden]")).to_have_count(1)
    (event,) = keeping.file("larch").events
    assert abs(event.at - clock.time) < timedelta(minutes=1)
    stop()


def log_in(page: Page, path: str) -> None:
    """Asks for a page, which leads to the login, and from there to the page."""
    page.goto(path)
    page.locator("input[name='name']").fill("keeper")
    page.locator("input[name='password']").fill(WORDS)
    page.get_by_role("button", name="Log in").click()
    page.wait_for_url(f"**{path}")
