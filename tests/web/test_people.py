"""Whoever owns the logbook lets others in, says what each may do at which tub, and shuts them out again."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from playwright.sync_api import Page, expect

from tubwater.errors import WrongCredentials
from tubwater.services.accounts import Accounts
from tubwater.services.keeping import Keeping
from tubwater.services.people import ALL_TUBS, Account, Role
from tubwater.web import create_app
from web.harness import BODY, WORDS, ZONE, violations

NEW = {"name": "Rowan", "password": WORDS, "again": WORDS}


@pytest.fixture
def app(keeping: Keeping, accounts: Accounts) -> FastAPI:
    return create_app(keeping, zone=ZONE, hosts=None, accounts=accounts)


@pytest.fixture
def owner(app: FastAPI, accounts: Accounts, tub: str) -> Iterator[TestClient]:
    accounts.add("keeper", WORDS)
    with logged_in(app, "keeper") as found:
        yield found


@pytest.fixture
def guest(owner: TestClient, accounts: Accounts) -> Account:
    """Somebody with an account and no role yet."""
    assert owner.post("/people", data=NEW).status_code == 303
    return next(one for one in accounts.store.accounts() if one.name == "Rowan")


def logged_in(app: FastAPI, name: str) -> TestClient:
    found = TestClient(app, raise_server_exceptions=False, follow_redirects=False)
    assert found.post("/login", data={"name": name, "password": WORDS}).status_code == 303
    return found


def test_somebody_is_let_in_given_a_role_and_withdrawn_on_the_pages(
    open_page: Callable[..., Page], app: FastAPI, accounts: Accounts, tub: str
) -> None:
    accounts.add("keeper", WORDS)
    page = open_page("/login")
    page.get_by_label("Name").fill("keeper")
    page.get_by_label("Password").fill(WORDS)
    page.get_by_role("button", name="Log in").click()
    page.get_by_role("link", name="People").click()
    page.get_by_label("What is the name to log in with?").fill("Rowan")
    page.get_by_label("A password of at least").fill(WORDS)
    page.get_by_label("The same password once more").fill(WORDS)
    page.get_by_role("button", name="Let them in").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Rowan")
    assert violations(page) == []
    page.get_by_label("Larch").select_option("helper")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("status")).to_have_text("Kept.")
    expect(page.get_by_label("Larch")).to_have_value("helper")
    helper = logged_in(app, "Rowan")
    assert helper.get(f"/tubs/{tub}/out").status_code == 200 and "/people" not in helper.get("/").text
    page.get_by_text("Withdraw this account").click()
    page.get_by_role("button", name="Withdraw Rowan").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("People")
    expect(page.get_by_text("Rowan")).to_have_count(0)
    assert violations(page) == []
    assert helper.get(f"/tubs/{tub}").headers["location"].startswith("/login")


def test_each_role_goes_as_far_as_its_tub_and_its_word(
    owner: TestClient, app: FastAPI, guest: Account, keeping: Keeping, tub: str
) -> None:
    other = keeping.add_tub({**BODY, "tub": {**BODY["tub"], "name": "Alder"}}, id="alder")
    theirs = logged_in(app, "Rowan")
    out, shelf = {"people": "2", "minutes": "30"}, {"name": "x"}
    assert theirs.get(f"/tubs/{tub}").status_code == 403
    for role, expected in (("reader", (200, 403, 403)), ("helper", (200, 303, 403)), ("keeper", (200, 303, 422))):
        assert owner.post(f"/people/{guest.id}/roles", data={f"role_{tub}": role}).status_code == 303
        found = (
            theirs.get(f"/tubs/{tub}").status_code,
            theirs.post(f"/tubs/{tub}/out", data=out).status_code,
            theirs.post(f"/tubs/{tub}/shelf/new", data=shelf).status_code,
        )
        assert found == expected
        assert theirs.get(f"/tubs/{other}").status_code == 403
    owner.post(f"/people/{guest.id}/roles", data={f"role_{tub}": "none", f"role_{ALL_TUBS}": "reader"})
    assert theirs.get(f"/tubs/{other}").status_code == 200
    assert theirs.post(f"/tubs/{tub}/out", data=out).status_code == 403


def test_a_sheet_that_names_a_tub_is_for_whoever_may_see_it(
    owner: TestClient, app: FastAPI, guest: Account, tub: str
) -> None:
    theirs = logged_in(app, "Rowan")
    for path in ("/facts/safety", "/facts/safety.pdf"):
        assert theirs.get(path).status_code == 200
        assert theirs.get(path, params={"tub": tub}).status_code == 403
        assert owner.get(path, params={"tub": tub}).status_code == 200


def test_what_the_form_does_not_name_stays(owner: TestClient, accounts: Accounts, guest: Account, tub: str) -> None:
    owner.post(f"/people/{guest.id}/roles", data={f"role_{tub}": "helper"})
    owner.post(f"/people/{guest.id}/roles", data={f"role_{ALL_TUBS}": "reader"})
    assert accounts.store.roles(guest.id) == {tub: Role.HELPER, ALL_TUBS: Role.READER}
    assert owner.post(f"/people/{guest.id}/roles", data={f"role_{tub}": "king"}).status_code == 422
    assert accounts.store.roles(guest.id)[tub] is Role.HELPER


@pytest.mark.parametrize("role", [Role.HELPER, Role.KEEPER])
def test_nobody_but_the_owner_reaches_these_pages(
    owner: TestClient, app: FastAPI, accounts: Accounts, guest: Account, role: Role
) -> None:
    accounts.store.give_role(guest.id, ALL_TUBS, role)
    theirs = logged_in(app, "Rowan")
    mine = next(one.id for one in accounts.store.accounts() if one.name == "keeper")
    more: dict[str, Any] = {"data": {**NEW, "name": "third"}}
    asked = [theirs.get("/people"), theirs.get(f"/people/{guest.id}"), theirs.post("/people", **more)]
    asked += [theirs.post(f"/people/{guest.id}/roles", data={f"role_{ALL_TUBS}": "keeper"})]
    asked += [theirs.post(f"/people/{mine}/close"), theirs.post(f"/people/{mine}/password", data=NEW)]
    assert {answer.status_code for answer in asked} == {403}
    assert len([one for one in accounts.store.accounts() if one.opens]) == 2


def test_a_program_looks_after_no_accounts_even_an_owners(owner: TestClient, app: FastAPI, accounts: Accounts) -> None:
    caller = accounts.who(owner.cookies["tubwater"])
    head = {"authorization": f"Bearer {accounts.make_token('a chart', caller, Role.KEEPER).secret}"}
    program = TestClient(app, raise_server_exceptions=False, follow_redirects=False)
    assert program.get("/people", headers=head).status_code == 403
    assert program.post("/people", data=NEW, headers=head).status_code == 403


@pytest.mark.parametrize("site", [{"sec-fetch-site": "cross-site"}, {"origin": "http://elsewhere.example"}])
def test_another_site_changes_nobody(
    owner: TestClient, accounts: Accounts, guest: Account, site: dict[str, str]
) -> None:
    for path in ("/people", f"/people/{guest.id}/roles", f"/people/{guest.id}/close"):
        assert owner.post(path, data={**NEW, "name": "third"}, headers=site).status_code == 403
    assert [one.name for one in accounts.store.accounts() if one.opens] == ["keeper", "Rowan"]


def test_the_last_owner_stays(owner: TestClient, accounts: Accounts, guest: Account) -> None:
    mine = next(one for one in accounts.store.accounts() if one.name == "keeper")
    answer = owner.post(f"/people/{mine.id}/close")
    assert answer.status_code == 422 and "last owner" in answer.text
    assert owner.get("/people").status_code == 200
    owner.post("/people", data={**NEW, "name": "second", "owner": "yes"})
    assert owner.post(f"/people/{mine.id}/close").status_code == 303
    assert owner.get("/people").headers["location"].startswith("/login")


def test_what_cannot_be_taken_is_said_and_the_name_still_there(owner: TestClient, accounts: Accounts) -> None:
    for wrong in ({"again": "another password"}, {"password": "short", "again": "short"}, {"name": "KEEPER"}):
        answer = owner.post("/people", data=NEW | wrong)
        assert answer.status_code == 422 and "Expected:" in answer.text
        assert wrong.get("name", "Rowan") in answer.text and WORDS not in answer.text
    assert len(accounts.store.accounts()) == 1
    assert owner.get("/people/nobody").status_code == 404


def test_a_new_password_ends_what_was_open_under_the_old_one(
    owner: TestClient, app: FastAPI, accounts: Accounts, guest: Account
) -> None:
    theirs, fresh = logged_in(app, "Rowan"), "another spoon for the larch"
    assert owner.post(f"/people/{guest.id}/password", data={"password": fresh, "again": fresh}).status_code == 303
    assert theirs.get("/").headers["location"].startswith("/login")
    assert accounts.log_in("Rowan", fresh).token.account == guest.id
    mine = accounts.who(owner.cookies["tubwater"]).account
    wrong = owner.post(f"/people/{mine}/password", data={"password": fresh, "again": fresh, "old": "not this one"})
    assert wrong.status_code == 422
    with pytest.raises(WrongCredentials):
        accounts.log_in("keeper", fresh)
    assert (
        owner.post(f"/people/{mine}/password", data={"password": fresh, "again": fresh, "old": WORDS}).status_code
        == 303
    )
    assert owner.get("/people").status_code == 200


def test_while_there_is_no_account_the_first_is_made_elsewhere(app: FastAPI, accounts: Accounts) -> None:
    with TestClient(app, raise_server_exceptions=False, follow_redirects=False) as anybody:
        assert 'href="/phones"' in anybody.get("/people").text
        assert anybody.post("/people", data=NEW).status_code == 403
    assert not accounts.exist()
