"""The pages of what is due and of the stock, and the calendar with the secret in its address."""

from __future__ import annotations

import html
import re
from collections.abc import Callable, Iterator
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient
from playwright.sync_api import Page, expect

from tubwater.advice import Situation
from tubwater.services.accounts import Accounts
from tubwater.services.answers import Answers
from tubwater.services.keeping import Keeping
from tubwater.services.memory_kits import MemoryKits
from tubwater.services.people import Role
from tubwater.services.ports import Kind
from tubwater.services.storage import Kit
from tubwater.services.upkeep import due_of_tub, shelf_of_tub
from tubwater.tub import Cared
from tubwater.web import create_app
from web.harness import DESK, MOST, PHONE, WORDS, ZONE, Clock, violations

ICS = "/tubs/larch/calendar.ics"


@pytest.fixture
def asking(keeping: Keeping, accounts: Accounts, tub: str) -> Iterator[TestClient]:
    """With an account, and the keeper's session."""
    accounts.add("keeper", WORDS)
    app = create_app(keeping, zone=ZONE, hosts=None, accounts=accounts)
    with TestClient(app, raise_server_exceptions=False, follow_redirects=False) as found:
        found.post("/login", data={"name": "keeper", "password": WORDS, "next": "/"})
        yield found


def secret_address(client: TestClient) -> str:
    """Makes one on the page and reads it off."""
    page = client.post("/tubs/larch/due/calendar").text
    (found,) = re.findall(r"(/tubs/larch/calendar\.ics\?key=[\w-]{40,})[<&]", page)
    return str(found)


# The calendar


def test_the_secret_address_shows_the_calendar_without_a_login(asking: TestClient) -> None:
    address = secret_address(asking)
    asking.cookies.clear()
    answer = asking.get(address)
    assert answer.status_code == 200 and answer.headers["content-type"] == "text/calendar; charset=utf-8"
    assert answer.content.startswith(b"BEGIN:VCALENDAR\r\n") and b"Rinse the filter" in answer.content


def test_without_the_secret_nobody_learns_anything(asking: TestClient) -> None:
    address = secret_address(asking)
    asking.cookies.clear()
    answers = [asking.get(path) for path in (ICS, f"{ICS}?key=", f"{ICS}?key=wrong", "/tubs/none/calendar.ics?key=x")]
    answers.append(asking.get(address.replace("larch", "none")))
    assert {answer.status_code for answer in answers} == {404}
    assert not any(b"VCALENDAR" in answer.content for answer in answers)


def test_the_secret_opens_nothing_else(asking: TestClient, keeping: Keeping) -> None:
    secret = secret_address(asking).split("=")[1]
    keeping.add_tub({"tub": {"name": "Rowan", "volume": "900 L", "sanitizer": "bromine"}}, id="rowan")
    asking.cookies.clear()
    assert asking.get(f"/tubs/rowan/calendar.ics?key={secret}").status_code == 404
    assert asking.get(f"/tubs/larch/due?key={secret}").status_code == 303
    head = {"authorization": f"Bearer {secret}"}
    assert asking.get("/api/tubs", headers=head).status_code == 401
    asking.cookies.set("tubwater", secret)
    assert asking.get("/tubs/larch").status_code == 303


def test_an_address_that_was_withdrawn_shows_nothing_and_the_others_stay(asking: TestClient) -> None:
    first, second = secret_address(asking), secret_address(asking)
    page = asking.get("/tubs/larch/due").text
    withdraw = re.findall(r"/tubs/larch/due/calendar/[\w-]+/withdraw", page)
    assert len(withdraw) == 2 and asking.post(withdraw[0]).status_code == 303
    assert asking.post(withdraw[0]).status_code == 404
    asking.cookies.clear()
    assert sorted(asking.get(address).status_code for address in (first, second)) == [200, 404]


def test_an_address_ends_with_the_role_of_whoever_made_it(asking: TestClient, accounts: Accounts, clock: Clock) -> None:
    owner = accounts.who(accounts.log_in("keeper", WORDS).secret)
    guest = accounts.add("guest", WORDS, owner)
    accounts.grant(guest.id, "larch", Role.HELPER, owner)
    opened = accounts.make_calendar("larch", accounts.who(accounts.log_in("guest", WORDS).secret))
    assert accounts.reads_calendar(opened.secret, "larch")
    accounts.grant(guest.id, "larch", None, owner)
    assert not accounts.reads_calendar(opened.secret, "larch")


def test_a_reader_and_a_program_make_no_address(asking: TestClient, accounts: Accounts) -> None:
    owner = accounts.who(accounts.log_in("keeper", WORDS).secret)
    accounts.grant(accounts.add("guest", WORDS, owner).id, "larch", Role.READER, owner)
    asking.post("/login", data={"name": "guest", "password": WORDS, "next": "/"})
    assert asking.post("/tubs/larch/due/calendar").status_code == 403
    asking.cookies.clear()
    head = {"authorization": f"Bearer {accounts.make_token('a script', owner).secret}"}
    assert asking.post("/tubs/larch/due/calendar", headers=head).status_code == 403


def test_before_there_is_an_account_whoever_sits_here_sees_it(client: TestClient, tub: str) -> None:
    assert client.get(ICS).status_code == 200
    assert "secret address reads it again" in client.get("/tubs/larch/due").text


# What is due


def test_done_is_one_tap_and_moves_the_task(client: TestClient, keeping: Keeping, clock: Clock, tub: str) -> None:
    page = client.get(f"/tubs/{tub}/due").text
    key = re.search(r'value="rinse-filter"><input type="hidden" name="key" value="([^"]+)"', page)
    assert key
    for _ in range(2):  # sent twice, noted once
        assert client.post(f"/tubs/{tub}/due/done", data={"task": "rinse-filter", "key": key[1]}).status_code == 200
    assert [e.task for e in keeping.file(tub).events if isinstance(e, Cared)] == ["rinse-filter"]
    due = {found.key: found for found in due_of_tub(Answers(keeping), MemoryKits(), tub, keeping.file(tub))}
    assert not due["rinse-filter"].now and due["wipe-waterline"].now


def test_the_list_the_calendar_and_the_stock_share_one_belief(
    client: TestClient, keeping: Keeping, tub: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked, case = list[str](), Keeping.case

    def counted(self: Keeping, tub: str) -> Situation:
        asked.append(tub)
        return case(self, tub)

    monkeypatch.setattr(Keeping, "case", counted)
    for path in (f"/tubs/{tub}/due", f"/tubs/{tub}/stock", ICS, f"/tubs/{tub}"):
        assert client.get(path).status_code == 200
    assert asked == [tub]


def test_a_task_that_nobody_knows_is_refused(client: TestClient, tub: str) -> None:
    assert client.post(f"/tubs/{tub}/due/done", data={"task": "polish", "key": "k"}).status_code == 422


def test_a_kit_past_its_date_is_due(keeping: Keeping, clock: Clock, tub: str) -> None:
    kits = MemoryKits()
    kits.keep(Kit("one", "strip", tub=tub, spoils=clock.time - timedelta(days=3)))
    kits.keep(Kit("two", "photometer", tub="another", spoils=clock.time - timedelta(days=3)))
    dues = due_of_tub(Answers(keeping), kits, tub, keeping.file(tub))
    assert [found.key for found in dues if found.kind == "expires"] == ["strip"]


# The stock


def form(**more: str) -> dict[str, str]:
    said = {"substance": "monopersulfate", "name": "oxidizer", "strength": "43 %", "measure": "scoop", "grams": "20"}
    return {**said, "stock": "900 g", "size": "1 kg", "price": "14 EUR", **more}


def save(client: TestClient, keeping: Keeping, **more: str) -> None:
    newest = keeping.newest("larch", Kind.SHELF)
    assert newest is not None
    answer = client.post("/tubs/larch/shelf/0", data=form(after=newest.entry.id, **more), follow_redirects=False)
    assert answer.status_code == 303, answer.text


def test_a_stock_counts_from_when_it_was_entered(client: TestClient, keeping: Keeping, clock: Clock, tub: str) -> None:
    keeping.record(tub, Kind.DOSED, {"product": "oxidizer", "amount": "100 g"})
    clock.time += timedelta(days=1)
    save(client, keeping)
    clock.time += timedelta(days=1)
    keeping.record(tub, Kind.DOSED, {"product": "oxidizer", "amount": "50 g"})
    clock.time += timedelta(days=1)
    save(client, keeping, opened="2026-11-01", expires="2027-11-01")  # another change of the shelf, the same stock
    pot = shelf_of_tub(Answers(keeping), MemoryKits(), tub, keeping.file(tub)).pots[0]
    assert pot.left.grams is not None and pot.left.grams.value == pytest.approx(850.0)
    clock.time += timedelta(days=1)
    save(client, keeping, counted_now="yes")
    assert shelf_of_tub(Answers(keeping), MemoryKits(), tub, keeping.file(tub)).pots[0].left.used == 0.0


def test_a_form_keeps_what_it_does_not_ask_for(client: TestClient, keeping: Keeping, tub: str) -> None:
    newest = keeping.newest(tub, Kind.SHELF)
    assert newest is not None
    body = {**newest.entry.body, "reagents": [{"method": "strip"}]}
    body["product"][0]["counted"], body["product"][0]["stock"] = "2026-11-20", "900 g"
    keeping.describe(tub, Kind.SHELF, body, newest.entry.id)
    save(client, keeping)
    after = keeping.file(tub)
    assert after.reagents and after.shelf.products[0].package.counted is not None
    save(client, keeping, stock="700 g")
    assert keeping.file(tub).shelf.products[0].package.counted is None  # counted when this was entered


def test_a_new_tub_keeps_its_reagents_and_offers(keeping: Keeping) -> None:
    offer = {"substance": "soda ash", "strength": "99 %", "size": "1 kg", "price": "5 EUR"}
    body = {"tub": {"volume": "900 L", "sanitizer": "bromine"}, "reagents": [{"method": "strip"}], "offer": [offer]}
    found = keeping.file(keeping.add_tub(body))
    assert found.reagents and found.offers.products and found.shelf.products == ()


@pytest.mark.parametrize(
    ("field", "value"), [("price", "14"), ("size", "-1 kg"), ("expires", "soon"), ("opened", "2999-01-01")]
)
def test_what_cannot_be_meant_is_told_on_the_form(
    client: TestClient, keeping: Keeping, tub: str, field: str, value: str
) -> None:
    newest = keeping.newest(tub, Kind.SHELF)
    assert newest is not None
    answer = client.post(f"/tubs/{tub}/shelf/0", data=form(after=newest.entry.id, **{field: value}))
    assert answer.status_code == 422 and 'value="900 g"' in answer.text
    told = html.unescape(answer.text).replace("\xa0", " ")
    said = rf"""Entered: ["']?{value}["']?\. Expected: """
    assert re.search(rf'<a href="#{field}"><b>[^<]+</b></a> <span>{said}', told)
    assert re.search(rf'<span class="wrong" id="{field}-e">{said}', told)


def test_the_stock_page_names_each_product_and_refuses_weeks_that_cannot_be_meant(client: TestClient, tub: str) -> None:
    page = client.get(f"/tubs/{tub}/stock")
    assert page.status_code == 200 and all(name in page.text for name in ("oxidizer", "soda ash", "Keep apart"))
    assert client.get(f"/tubs/{tub}/stock?weeks=99").status_code == 422
    assert client.get("/tubs/none/stock").status_code == 404


def pack(client: TestClient, keeping: Keeping, **said: str) -> int:
    newest = keeping.newest("larch", Kind.SHELF)
    assert newest is not None
    body = {"after": newest.entry.id, **said}
    return client.post("/tubs/larch/stock/reagents", data=body, follow_redirects=False).status_code


def test_a_pack_is_added_with_its_dates_and_taken_away(client: TestClient, keeping: Keeping, tub: str) -> None:
    assert pack(client, keeping, method="strip", name="old", opened="2026-01-01", expires="2026-11-01") == 303
    assert pack(client, keeping, method="photometer") == 303
    shown = client.get(f"/tubs/{tub}/stock").text.replace("&nbsp;", " ")
    assert "past its date since 30 Jun 2026" in shown  # half a year after opening comes before the label's date
    assert pack(client, keeping, remove="0") == 303
    assert [found.method for found in keeping.file(tub).reagents] == ["photometer"]
    assert len(keeping.file(tub).shelf.products) == 5


@pytest.mark.parametrize(
    "said", [{"method": "tea leaves"}, {"method": "strip", "opened": "2026-11-01", "expires": "2026-10-01"}]
)
def test_a_pack_that_cannot_be_meant_is_told_and_not_kept(
    client: TestClient, keeping: Keeping, tub: str, said: dict[str, str]
) -> None:
    assert pack(client, keeping, **said) == 422
    assert keeping.file(tub).reagents == ()


def test_a_helper_changes_no_packs(asking: TestClient, accounts: Accounts) -> None:
    owner = accounts.who(accounts.log_in("keeper", WORDS).secret)
    accounts.grant(accounts.add("guest", WORDS, owner).id, "larch", Role.HELPER, owner)
    asking.post("/login", data={"name": "guest", "password": WORDS, "next": "/"})
    assert asking.post("/tubs/larch/stock/reagents", data={"method": "strip"}).status_code == 403


# In a browser


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_the_pages_are_accessible_and_fit(
    open_page: Callable[..., Page], keeping: Keeping, tub: str, size: dict[str, object]
) -> None:
    for path in (f"/tubs/{tub}/due", f"/tubs/{tub}/stock", f"/tubs/{tub}/shelf/0"):
        page = open_page(path, size)
        expect(page.locator("h1")).to_be_visible(timeout=MOST)
        assert violations(page) == []
        assert page.evaluate("document.scrollingElement.scrollWidth <= document.scrollingElement.clientWidth")
