"""The pages of the record: the sheet of a day, its signature, what belongs to it, PDF, table, and data for scripts."""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterator
from datetime import timedelta
from html import unescape
from typing import Any

import pytest
from fastapi.testclient import TestClient
from openpyxl import load_workbook
from playwright.sync_api import Page, expect

from tubwater.services.accounts import Accounts
from tubwater.services.keeping import Keeping
from tubwater.services.people import Role
from tubwater.services.ports import Kind
from tubwater.tub import Sampled, Sign, Signed, VerdictKind
from tubwater.web import create_app
from tubwater.web.show import say
from web.harness import BODY, DESK, MOST, PHONE, WORDS, ZONE, Clock, violations

RECORD = "/tubs/rowan/record"
GOOD = {"method": "photometer", "scale": "as Br2", "bromine": 5, "pH": 7.4}


@pytest.fixture
def rowan(keeping: Keeping, clock: Clock) -> str:
    """A let tub in Britain, tested an hour ago."""
    clock.time -= timedelta(days=2)
    tub = {**BODY["tub"], "name": "Rowan", "setting": "let", "guideline": "uk-business"}
    keeping.add_tub({**BODY, "tub": tub}, id="rowan")
    clock.time += timedelta(days=2)
    keeping.record("rowan", Kind.TEST, {**GOOD, "at": (clock.time - timedelta(hours=1)).isoformat()}, id="read")
    return "rowan"


def signed(keeping: Keeping) -> list[Signed]:
    return [paper for paper in keeping.file("rowan").papers if isinstance(paper, Signed)]


def text_of_page(answer: Any) -> str:
    return unescape(answer.text).replace("\u00a0", " ")


def test_the_sheet_shows_what_is_missing_and_what_was_entered(client: TestClient, rowan: str) -> None:
    shown = text_of_page(client.get(RECORD))
    assert "A person who answers for the checks: missing" in shown and "Sanitizer and pH (2 of 2)" in shown
    assert "11:00" in shown and "Tested with a photometer: bromine 5 mg/L as Br2, pH 7.4" in shown
    assert "Controlling Legionella in Hot Tubs" in shown  # how sure, and where it comes from
    assert '<a href="/tubs/rowan/record">' in client.get("/tubs/rowan").text


def test_a_household_reads_that_no_record_is_asked_and_has_one(client: TestClient, tub: str) -> None:
    shown = client.get(f"/tubs/{tub}/record").text
    assert "The guideline for homes asks for no record" in shown
    assert client.get(f"/tubs/{tub}/record.pdf").content.startswith(b"%PDF-")


def test_a_signature_is_kept_once_and_shown(client: TestClient, keeping: Keeping, rowan: str, clock: Clock) -> None:
    key = re.search(r'name="key" value="([^"]+)"', client.get(RECORD).text)
    assert key
    form = {"key": key[1], "day": "2026-11-25", "name": "Robin Example", "bathers": "4", "remark": "quiet"}
    for _ in range(2):
        assert client.post(f"{RECORD}/sign", data=form).status_code == 200
    assert [(one.name, one.bathers, one.remark) for one in signed(keeping)] == [("Robin Example", 4.0, "quiet")]
    shown = client.get(RECORD).text
    assert (
        "Robin Example" in shown
        and say("record.sign") in shown
        and "Bathers counted: 4" in text_of_page(client.get(RECORD))
    )
    clock.time += timedelta(minutes=3)
    keeping.correct("rowan", "read", {**GOOD, "pH": 7.5})
    assert "1 entry of this day came or was changed after it." in text_of_page(client.get(RECORD))


@pytest.mark.parametrize(
    ("field", "value"), [("name", ""), ("day", "2026-11-26"), ("day", "soon"), ("bathers", "many"), ("bathers", "-1")]
)
def test_a_signature_that_cannot_be_meant_is_told_and_the_form_keeps_the_rest(
    client: TestClient, keeping: Keeping, rowan: str, field: str, value: str
) -> None:
    form = {"day": "2026-11-25", "name": "Robin Example", "bathers": "4", "remark": "quiet", field: value}
    answer = client.post(f"{RECORD}/sign", data=form)
    assert answer.status_code == 422 and 'value="quiet"' in answer.text and signed(keeping) == []
    assert "Expected:" in answer.text


@pytest.mark.parametrize(
    "asked",
    ["?day=soon", "?day=2026-11-26", "?day=2020-01-01", ".pdf?first=x", ".pdf?last=2027-01-01", ".xlsx?first=y"],
)
def test_days_that_cannot_be_meant_are_refused(client: TestClient, rowan: str, asked: str) -> None:
    assert client.get(RECORD + asked).status_code == 422
    assert client.get("/tubs/none/record").status_code == 404


def test_a_sample_is_entered_by_hand_in_the_keepers_zone_and_keeps_people_out(
    client: TestClient, keeping: Keeping, rowan: str
) -> None:
    form = {
        "laboratory": "A",
        "report": "7",
        "taken": "2026-11-24T09:00",
        "legionella": "20",
        "e_coli": "<1",
        "pH": "7.4",
    }
    answer = client.post("/tubs/rowan/add/sampled", data=form, follow_redirects=False)
    assert answer.status_code == 303, answer.text
    (sample,) = [paper for paper in keeping.file("rowan").papers if isinstance(paper, Sampled)]
    assert sample.report == "7" and sample.taken.utcoffset() == timedelta(0) and sample.ph == 7.4
    verdict = keeping.verdict("rowan")
    assert verdict.kind is VerdictKind.KEEP_OUT and "sign-legionella-found" in {r.kind for r in verdict.reasons}
    shown = text_of_page(client.get(RECORD))
    assert "A laboratory found Legionella" in shown and "still closed" in shown
    assert "20 " in client.get("/tubs/rowan/logbook").text
    assert Sign.LEGIONELLA in next(e for e in keeping.file("rowan").events if hasattr(e, "signs")).signs


@pytest.mark.parametrize(
    ("kind", "form"),
    [
        ("sampled", {"laboratory": "A", "legionella": "plenty"}),
        ("appointed", {"qualification": "a course"}),
        ("source_water", {"report": "3"}),
        ("opening_hours", {"opens": "nine", "closes": "21:00"}),
        ("closed", {"by": "the district"}),
    ],
)
def test_what_belongs_to_the_record_and_cannot_be_meant_is_told(
    client: TestClient, keeping: Keeping, rowan: str, kind: str, form: dict[str, str]
) -> None:
    answer = client.post(f"/tubs/rowan/add/{kind}", data=form)
    assert answer.status_code == 422 and all(f'value="{value}"' in answer.text for value in form.values())
    assert keeping.file("rowan").papers == ()


def test_a_business_tub_is_asked_how_it_was_sampled_and_a_household_is_not(
    client: TestClient, keeping: Keeping, rowan: str, tub: str
) -> None:
    assert say("test.bathers") in client.get("/tubs/rowan/test").text
    assert say("test.bathers") not in client.get(f"/tubs/{tub}/test").text
    form = {"method": "photometer", "scale": "as Br2", "bromine": "5", "pH": "7.4", "jets": "no", "bathers": "2"}
    assert client.post("/tubs/rowan/test", data=form, follow_redirects=False).status_code == 303
    assert "jets off, 2 bathers in" in text_of_page(client.get(RECORD))
    assert client.post("/tubs/rowan/test", data={**form, "guest": "yes"}, follow_redirects=False).status_code == 303
    assert "read by a guest" in text_of_page(client.get(RECORD))
    refused = client.post("/tubs/rowan/test", data={**form, "bathers": "some"})
    assert refused.status_code == 422 and 'value="some"' in refused.text and 'value="5"' in refused.text


def test_persons_hours_and_water_stand_on_the_sheet(client: TestClient, rowan: str) -> None:
    for kind, form in (
        ("appointed", {"name": "Robin Example", "qualification": "a course"}),
        ("source_water", {"iron": "0.1 mg/L", "total_hardness": "14 °dH"}),
        ("opening_hours", {"opens": "09:00", "closes": "21:00"}),
    ):
        assert client.post(f"/tubs/rowan/add/{kind}", data=form, follow_redirects=False).status_code == 303
    shown = text_of_page(client.get(RECORD))
    assert "Robin Example, a course" in shown and "iron 0.1 mg/L" in shown and "Open 09:00 to 21:00" in shown


def test_a_closure_by_order_is_entered_shown_and_ended_by_hand(
    client: TestClient, keeping: Keeping, rowan: str, clock: Clock
) -> None:
    form = {"why": "order", "reason": "records missing, 2 to 3 days", "by": "the district"}
    assert client.post("/tubs/rowan/add/closed", data=form, follow_redirects=False).status_code == 303
    assert keeping.verdict("rowan").kind is VerdictKind.KEEP_OUT
    assert "closed by order" in text_of_page(client.get("/tubs/rowan"))
    shown = text_of_page(client.get(RECORD))
    assert "By order of the district: records missing, 2 to 3 days" in shown and "still closed" in shown
    clock.time += timedelta(minutes=5)
    opened = client.post("/tubs/rowan/add/reopened", data={"reason": "shown"}, follow_redirects=False)
    assert opened.status_code == 303
    assert ": shown" in text_of_page(client.get(RECORD)) and "Open again" in client.get("/tubs/rowan/logbook").text
    book = load_workbook(io.BytesIO(client.get(f"{RECORD}.xlsx").content))
    assert "records missing" in book["Closures"]["B2"].value


def test_the_inspector_gets_the_days_on_paper_and_as_a_table(client: TestClient, rowan: str) -> None:
    asked = "?first=2026-11-23&last=2026-11-25"
    pdf = client.get(f"{RECORD}.pdf{asked}")
    assert pdf.headers["content-type"] == "application/pdf" and pdf.content.startswith(b"%PDF-")
    book = load_workbook(io.BytesIO(client.get(f"{RECORD}.xlsx{asked}").content))
    assert [row[0].value for row in book["Days"].iter_rows()] == ["Day", "2026-11-23", "2026-11-24", "2026-11-25"]


# For scripts


def test_a_script_reads_the_record_and_signs_once(client: TestClient, keeping: Keeping, rowan: str) -> None:
    found = client.get("/api/tubs/rowan/record?first=2026-11-25").json()
    assert found["days"][0]["checks"] and found["rules"]["asks"] is True
    for _ in range(2):
        kept = client.put("/api/tubs/rowan/signatures/one", json={"day": "2026-11-25", "name": "Robin Example"})
        assert kept.status_code == 200
    assert len(signed(keeping)) == 1
    assert client.put("/api/tubs/rowan/signatures/two", json={"day": "2026-12-25", "name": "R"}).status_code == 422
    refused = client.put(
        "/api/tubs/rowan/entries/x", json={"kind": "signed", "body": {"day": "2026-11-25", "name": "R"}}
    )
    assert refused.status_code == 422
    assert client.put("/api/tubs/rowan/withdrawals/x", json={"entry": "one", "why": "no"}).status_code == 404


@pytest.fixture
def asking(keeping: Keeping, rowan: str, accounts: Accounts) -> Iterator[tuple[TestClient, Accounts]]:
    """With an account, and the keeper's session."""
    owner = accounts.add("Kim Keeper", WORDS)
    accounts.grant(
        accounts.add("guest", WORDS, accounts.who(accounts.log_in("Kim Keeper", WORDS).secret)).id,
        "rowan",
        Role.READER,
        accounts.who(accounts.log_in("Kim Keeper", WORDS).secret),
    )
    assert owner.owner
    with TestClient(create_app(keeping, zone=ZONE, hosts=None, accounts=accounts), follow_redirects=False) as found:
        found.post("/login", data={"name": "Kim Keeper", "password": WORDS, "next": "/"})
        yield found, accounts


def test_who_is_logged_in_signs_by_name_and_a_reader_signs_nothing(asking: tuple[TestClient, Accounts]) -> None:
    client, _ = asking
    assert 'value="Kim Keeper"' in client.get(RECORD).text
    form = {"day": "2026-11-25", "name": "Robin Example"}
    assert client.post(f"{RECORD}/sign", data=form).status_code == 303
    assert "entered by Kim Keeper (keeper)" in text_of_page(client.get(RECORD))
    client.post("/login", data={"name": "guest", "password": WORDS, "next": "/"})
    assert client.get(RECORD).status_code == 200
    assert client.post(f"{RECORD}/sign", data=form).status_code == 403


# In a browser


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_a_day_is_signed_on_a_page_that_is_accessible_and_fits(
    open_page: Callable[..., Page], rowan: str, size: dict[str, object]
) -> None:
    asked = open_page("/tubs/rowan/test", size)
    expect(asked.get_by_label(say("test.bathers"))).to_be_visible(timeout=MOST)
    assert violations(asked) == []
    page = open_page(RECORD, size)
    page.get_by_label(say("record.sign.name")).fill("Robin Example")
    page.get_by_role("button", name=say("record.sign.do")).click()
    expect(page.get_by_text("Robin Example,")).to_be_visible(timeout=MOST)
    assert violations(page) == []
    assert page.evaluate("document.scrollingElement.scrollWidth <= document.scrollingElement.clientWidth")
