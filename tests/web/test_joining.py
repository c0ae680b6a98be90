"""A phone joins by the code on the computer's screen; the first account and tokens for programs are made there."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from playwright.sync_api import BrowserContext, Page, expect

from tubwater.errors import NotAllowed
from tubwater.main import main
from tubwater.services.accounts import Accounts
from tubwater.services.keeping import Keeping
from tubwater.services.people import Role
from tubwater.web import create_app
from tubwater.web.network import Home
from web.harness import DESK, WORDS, ZONE, Clock, serve, violations


@pytest.fixture
def app(keeping: Keeping, accounts: Accounts) -> FastAPI:
    return create_app(keeping, zone=ZONE, hosts=None, accounts=accounts)


@pytest.fixture
def address(app: FastAPI) -> Iterator[str]:
    """Where both the computer and the phone find it; here that is one and the same."""
    found, stop = serve(app)
    app.state.home = Home("http", urlsplit(found).port or 0, find=lambda: ("127.0.0.1",))
    yield found
    stop()


def logged_in(page: Page) -> Page:
    page.goto("/phones")
    page.get_by_label("Name").fill("keeper")
    page.get_by_label("Password").fill(WORDS)
    page.get_by_role("button", name="Log in").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Phones")
    return page


def test_a_phone_joins_by_the_code_and_may_what_the_keeper_may(
    open_page: Callable[..., Page], open_context: Callable[..., BrowserContext], accounts: Accounts, tub: str
) -> None:
    accounts.add("keeper", WORDS)
    desk = logged_in(open_page("/login", DESK))
    desk.get_by_text("Let a program in").click()
    assert violations(desk) == []
    desk.get_by_role("button", name="Show the code").click()
    expect(desk.locator(".qr svg")).to_be_visible()
    link = desk.locator(".address").inner_text()

    phone = open_page(urlsplit(link).path)
    phone.get_by_label("What do you call this phone?").fill("phone by the tub")
    phone.get_by_role("button", name="Join").click()
    expect(phone.get_by_role("link", name="Larch")).to_be_visible()
    phone.goto(f"/tubs/{tub}/settings")
    expect(phone.get_by_role("button", name="Save")).to_be_visible()

    other = open_context().new_page()  # a second phone with the same code
    other.goto(urlsplit(link).path)
    other.get_by_role("button", name="Join").click()
    expect(other.get_by_text("This code is over or was used.")).to_be_visible()

    desk.goto("/phones")
    desk.get_by_role("button", name="Shut out").click()
    expect(desk.get_by_text("phone by the tub")).to_have_count(0)
    phone.goto(f"/tubs/{tub}")
    expect(phone.get_by_role("heading", level=1)).to_have_text("Who is there?")


def test_a_code_is_over_after_ten_minutes(
    open_page: Callable[..., Page], open_context: Callable[..., BrowserContext], accounts: Accounts, clock: Clock
) -> None:
    accounts.add("keeper", WORDS)
    desk = logged_in(open_page("/login", DESK))
    desk.get_by_role("button", name="Show the code").click()
    link = desk.locator(".address").inner_text()
    clock.time += timedelta(minutes=10)
    phone = open_context().new_page()
    phone.goto(urlsplit(link).path)
    phone.get_by_role("button", name="Join").click()
    expect(phone.get_by_text("This code is over or was used.")).to_be_visible()


def test_without_an_account_the_page_asks_for_one_and_gives_no_code(client: TestClient, accounts: Accounts) -> None:
    for answer in (client.get("/phones"), client.post("/phones")):
        assert answer.status_code in (200, 403)
        assert "/pair/" not in answer.text
    assert 'action="/phones/account"' in client.get("/phones").text
    with pytest.raises(NotAllowed):
        accounts.offer_pairing(accounts.here())


ACCOUNT = {"name": "Keeper", "password": WORDS, "again": WORDS, "next": "/phones"}


@pytest.fixture
def here(app: FastAPI) -> Iterator[TestClient]:
    """Whoever sits at this computer."""
    options: dict[str, Any] = {"raise_server_exceptions": False, "follow_redirects": False}
    with TestClient(app, client=("127.0.0.1", 50_000), **options) as found:
        yield found


def test_the_first_account_is_made_on_the_page_and_is_logged_in(
    here: TestClient, client: TestClient, accounts: Accounts
) -> None:
    answer = here.post("/phones/account", data=ACCOUNT)
    assert (answer.status_code, answer.headers["location"]) == (303, "/phones")
    (made,) = [account for account in accounts.store.accounts() if account.opens]
    assert made.owner and made.name == "Keeper" and here.get("/phones").status_code == 200
    assert client.get("/", follow_redirects=False).headers["location"].startswith("/login")


def test_what_cannot_be_taken_for_an_account_is_said_and_the_name_still_there(
    here: TestClient, accounts: Accounts
) -> None:
    for wrong in ({"again": "another password"}, {"password": "short", "again": "short"}, {"name": ""}):
        answer = here.post("/phones/account", data=ACCOUNT | wrong)
        assert answer.status_code == 422 and "Expected:" in answer.text
        assert wrong.get("name", "Keeper") in answer.text and WORDS not in answer.text
    assert not accounts.exist()


@pytest.mark.parametrize("site", [{"sec-fetch-site": "cross-site"}, {"origin": "http://elsewhere.example"}])
def test_another_site_makes_no_account(here: TestClient, accounts: Accounts, site: dict[str, str]) -> None:
    assert here.post("/phones/account", data=ACCOUNT, headers=site).status_code == 403
    assert not accounts.exist()


@pytest.mark.parametrize("address", ["192.168.1.9", "::ffff:192.168.1.9", "testclient"])
def test_nobody_makes_the_first_account_from_elsewhere(app: FastAPI, accounts: Accounts, address: str) -> None:
    far = TestClient(app, raise_server_exceptions=False, client=(address, 50_000))
    assert far.post("/phones/account", data=ACCOUNT).status_code == 403
    assert not accounts.exist()


def test_where_there_is_an_account_no_other_is_made_without_a_login(here: TestClient, accounts: Accounts) -> None:
    accounts.add("keeper", WORDS)
    other = {**ACCOUNT, "name": "Other"}
    assert here.post("/phones/account", data=other).headers["location"].startswith("/login")
    here.cookies.set("tubwater", accounts.log_in("keeper", WORDS).secret)
    assert here.post("/phones/account", data=other).status_code == 403
    assert [account.name for account in accounts.store.accounts() if account.opens] == ["keeper"]


def test_a_program_asks_by_a_token_no_further_than_it_may_until_that_is_withdrawn(
    here: TestClient, client: TestClient, accounts: Accounts, tub: str
) -> None:
    here.post("/phones/account", data=ACCOUNT)
    page = here.post("/phones/programs", data={"name": "a chart", "most": "reader"}).text
    (token,) = accounts.tokens(accounts.who(here.cookies["tubwater"]))
    head = {"authorization": f"Bearer {page.partition('Bearer ')[2].partition('<')[0]}"}
    assert client.get(f"/api/tubs/{tub}/history", headers=head).status_code == 200
    entry = {"kind": "soaked", "body": {"people": 2, "lasted": "30 min"}}
    assert client.put(f"/api/tubs/{tub}/entries/e", json=entry, headers=head).status_code == 403
    assert client.post("/phones/programs", data={"name": "another"}, headers=head).status_code == 403
    assert "Bearer " not in here.get("/phones").text and "a chart" in here.get("/phones").text
    assert here.post(f"/phones/programs/{token.id}/withdraw").status_code == 303
    assert client.get(f"/api/tubs/{tub}/history", headers=head).status_code == 401
    assert here.post(f"/phones/programs/{token.id}/withdraw").status_code == 404


def test_without_an_account_no_token_is_made(here: TestClient, accounts: Accounts) -> None:
    assert here.post("/phones/programs", data={"name": "a chart"}).status_code == 403
    assert accounts.tokens(accounts.here()) == []


def test_a_program_lets_no_phone_in(accounts: Accounts) -> None:
    accounts.add("keeper", WORDS)
    owner = accounts.who(accounts.log_in("keeper", WORDS).secret)
    program = accounts.who(accounts.make_token("a chart", owner, Role.KEEPER).secret)
    with pytest.raises(NotAllowed):
        accounts.offer_pairing(program)


def test_nobody_shuts_out_the_phone_of_another(app: FastAPI, accounts: Accounts) -> None:
    accounts.add("keeper", WORDS)
    owner = accounts.who(accounts.log_in("keeper", WORDS).secret)
    accounts.add("guest", WORDS, owner)
    phone = accounts.pair(accounts.offer_pairing(owner).secret, "mine")
    with TestClient(app, raise_server_exceptions=False, follow_redirects=False) as guest:
        guest.post("/login", data={"name": "guest", "password": WORDS})
        assert guest.post(f"/phones/{phone.token.device}/withdraw").status_code == 404
    assert accounts.who(phone.secret).device == phone.token.device


@pytest.mark.parametrize("more", [(), ("--https",)])
def test_no_address_of_the_network_is_served_without_an_account(
    more: tuple[str, ...], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = tmp_path / "logbook.db"
    assert main(["serve", "--host", "0.0.0.0", *more, "--port", "0", "--no-browser", "--logbook", str(place)]) == 2
    assert "account add" in capsys.readouterr().err
