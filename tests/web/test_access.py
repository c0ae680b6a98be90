"""Who may do what once there are accounts, and where it may be served before."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from tubwater.main import main
from tubwater.services.accounts import Accounts
from tubwater.services.keeping import Keeping
from tubwater.services.people import Role
from tubwater.web import create_app
from tubwater.web.network import is_here
from tubwater.web.serving import listen
from web.harness import WORDS, ZONE, Clock


@pytest.fixture
def asking(keeping: Keeping, accounts: Accounts, tub: str) -> Iterator[TestClient]:
    app = create_app(keeping, zone=ZONE, hosts=None, accounts=accounts)
    with TestClient(app, raise_server_exceptions=False, follow_redirects=False) as found:
        yield found


def log_in(client: TestClient, name: str, password: str = WORDS, next: str = "/") -> int:
    return client.post("/login", data={"name": name, "password": password, "next": next}).status_code


def test_without_an_account_whoever_sits_here_may_enter(asking: TestClient, tub: str) -> None:
    assert asking.get(f"/tubs/{tub}").status_code == 200


def test_with_an_account_nothing_is_shown_before_the_login(asking: TestClient, accounts: Accounts, tub: str) -> None:
    accounts.add("keeper", WORDS)
    page = asking.get(f"/tubs/{tub}")
    assert (page.status_code, page.headers["location"]) == (303, f"/login?next=/tubs/{tub}")
    assert asking.get("/api/tubs").status_code == 401
    assert asking.post(f"/tubs/{tub}/out", data={"people": "2", "minutes": "30"}).status_code == 303


def test_a_login_opens_a_session_and_a_logout_ends_it(asking: TestClient, accounts: Accounts, tub: str) -> None:
    accounts.add("keeper", WORDS)
    assert log_in(asking, "keeper", "wrong words for it") == 401
    answer = asking.post("/login", data={"name": "keeper", "password": WORDS, "next": f"/tubs/{tub}"})
    assert (answer.status_code, answer.headers["location"]) == (303, f"/tubs/{tub}")
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie and "samesite=strict" in cookie
    assert asking.get(f"/tubs/{tub}").status_code == 200
    asking.post("/logout")
    assert asking.get(f"/tubs/{tub}").status_code == 303


def test_a_session_that_was_ended_is_refused_even_where_its_cookie_is_kept(
    asking: TestClient, accounts: Accounts, tub: str
) -> None:
    accounts.add("keeper", WORDS)
    opened = accounts.log_in("keeper", WORDS)
    head = {"authorization": f"Bearer {opened.secret}"}
    assert asking.get("/api/tubs", headers=head).status_code == 200
    accounts.log_out(opened.secret)
    assert asking.get("/api/tubs", headers=head).status_code == 401


@pytest.mark.parametrize(
    ("role", "path", "status"),
    [
        (None, "/tubs/larch", 403),
        (Role.READER, "/tubs/larch", 200),
        (Role.READER, "/tubs/larch/settings", 200),
    ],
)
def test_a_tub_is_shown_to_who_has_a_role_on_it(
    asking: TestClient, accounts: Accounts, role: Role | None, path: str, status: int
) -> None:
    accounts.add("keeper", WORDS)
    owner = accounts.who(accounts.log_in("keeper", WORDS).secret)
    guest = accounts.add("guest", WORDS, owner)
    if role:
        accounts.grant(guest.id, "larch", role, owner)
    log_in(asking, "guest")
    assert asking.get(path).status_code == status


@pytest.mark.parametrize(
    ("role", "path"),
    [
        (Role.READER, "/tubs/larch/out"),
        (Role.READER, "/tubs/larch/test"),
        (Role.READER, "/tubs/larch/happened"),
        (Role.READER, "/tubs/larch/shelf"),
        (Role.HELPER, "/tubs/larch/shelf"),
        (Role.HELPER, "/tubs/larch/settings"),
        (Role.HELPER, "/first"),
    ],
)
def test_who_may_not_change_a_thing_is_refused_and_nothing_is_kept(
    asking: TestClient, accounts: Accounts, keeping: Keeping, role: Role, path: str
) -> None:
    accounts.add("keeper", WORDS)
    owner = accounts.who(accounts.log_in("keeper", WORDS).secret)
    guest = accounts.add("guest", WORDS, owner)
    accounts.grant(guest.id, "larch", role, owner)
    log_in(asking, "guest")
    before = len(keeping.entries("larch"))
    assert asking.post(path, data={"people": "2"}).status_code == 403
    assert len(keeping.entries("larch")) == before and len(keeping.store.tubs()) == 1


def test_the_list_leaves_out_tubs_that_are_not_the_callers(asking: TestClient, accounts: Accounts) -> None:
    accounts.add("keeper", WORDS)
    owner = accounts.who(accounts.log_in("keeper", WORDS).secret)
    accounts.add("guest", WORDS, owner)
    log_in(asking, "guest")
    assert asking.get("/api/tubs").json() == []


def test_a_phone_joins_once_and_only_in_time(asking: TestClient, accounts: Accounts, clock: Clock, tub: str) -> None:
    accounts.add("keeper", WORDS)
    owner = accounts.who(accounts.log_in("keeper", WORDS).secret)
    offer = accounts.offer_pairing(owner)
    assert asking.post(f"/pair/{offer.secret}", data={"device": "my phone"}).status_code == 303
    assert asking.get(f"/tubs/{tub}").status_code == 200
    asking.cookies.clear()
    assert asking.post(f"/pair/{offer.secret}", data={"device": "another"}).status_code == 401
    late = accounts.offer_pairing(owner)
    clock.time += timedelta(minutes=11)
    assert asking.post(f"/pair/{late.secret}", data={"device": "late"}).status_code == 401


@pytest.mark.parametrize("target", ["//elsewhere.example", "https://elsewhere.example", "/\\elsewhere", "javascript:x"])
def test_a_login_leads_nowhere_else(asking: TestClient, accounts: Accounts, target: str) -> None:
    accounts.add("keeper", WORDS)
    answer = asking.post("/login", data={"name": "keeper", "password": WORDS, "next": target})
    assert answer.headers["location"] == "/"


def test_many_wrong_logins_are_slowed(asking: TestClient, accounts: Accounts) -> None:
    accounts.add("keeper", WORDS)
    assert 429 in [log_in(asking, "keeper", f"wrong words {n} here") for n in range(30)]


def test_another_address_is_refused_without_an_account(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = str(tmp_path / "book.sqlite")
    assert main(["serve", "--host", "0.0.0.0", "--port", "0", "--no-browser", "--logbook", place]) == 2
    assert "account" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("host", "here"), [("127.0.0.1", True), ("localhost", True), ("::1", True), ("0.0.0.0", False), ("tub.test", False)]
)
def test_what_counts_as_this_computer_only(host: str, here: bool) -> None:
    assert is_here(host) is here


def test_a_helper_may_note_a_soak(asking: TestClient, accounts: Accounts, keeping: Keeping, tub: str) -> None:
    accounts.add("keeper", WORDS)
    owner = accounts.who(accounts.log_in("keeper", WORDS).secret)
    accounts.grant(accounts.add("guest", WORDS, owner).id, tub, Role.HELPER, owner)
    log_in(asking, "guest")
    before = len(keeping.entries(tub))
    assert asking.post(f"/tubs/{tub}/out", data={"people": "2", "minutes": "30"}).status_code < 400
    added = keeping.entries(tub)[before:]
    assert added and all(s.entry.source.actor for s in added)


def test_each_answer_is_sent_at_once() -> None:
    with listen("127.0.0.1", 0) as found:
        assert found.proto == socket.IPPROTO_TCP, "asyncio sets TCP_NODELAY for this protocol only"
