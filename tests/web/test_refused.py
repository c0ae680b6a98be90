"""What a form refuses is said at the head of its page and beside the field, by the name that the form shows."""

from __future__ import annotations

import html
import re
from collections.abc import Callable

import pytest
from fastapi.testclient import TestClient
from playwright.sync_api import BrowserContext, Page, expect

from tubwater.services.keeping import Keeping
from tubwater.services.ports import Kind
from tubwater.services.visits import Told, Visits, What
from web.beside import HIGH_PH
from web.harness import PHONE, START, WORDS, violations
from web.world import World

LARCH = "/tubs/larch"
TUB = {"name": "Larch", "volume": "1300 L", "sanitizer": "bromine"}
# Of each form what is wrong with it, and the field that is named for it.
FORMS = [
    ("/first", {"sanitizer": "bromine", "litres": "a lot"}, "How much water does it hold?"),
    ("/first", {"litres": "1300"}, "Bromine or chlorine?"),
    (f"{LARCH}/settings", {**TUB, "volume": "a lot"}, "Water in it"),
    (f"{LARCH}/settings", {**TUB, "soak_minutes": "ages"}, "Minutes of a usual soak"),
    (f"{LARCH}/settings", {**TUB, "soaks_per_week": "often"}, "Soaks a week"),
    (f"{LARCH}/settings", {**TUB, "fill_pH": "much"}, "pH"),
    (f"{LARCH}/settings", {**TUB, "fill_calcium_hardness": "x"}, "Calcium hardness"),
    (f"{LARCH}/shelf/new", {"substance": "borax-decahydrate", "strength": "lots"}, "Strength on the label"),
    (f"{LARCH}/shelf/new", {"substance": "borax-decahydrate", "measure": "cap", "grams": "x"}, "Grams in one"),
    (f"{LARCH}/add/dosed", {"product": "oxidizer", "amount": "a handful"}, "Amount"),
    (f"{LARCH}/add/cared", {}, "What was done"),
    (f"{LARCH}/add/filled", {"volume": "a lot"}, "How much"),
    (f"{LARCH}/logbook/read/correct", {"method": "strip", "pH": "x"}, "pH"),
    (f"{LARCH}/out", {"other_people": "a crowd"}, "People"),
    (f"{LARCH}/out", {"people": "2", "other_minutes": "ages"}, "Minutes"),
    (f"{LARCH}/test", {"method": "photometer", "pH": "14"}, "pH"),
    (f"{LARCH}/test", {"method": "strip", "pH": "7", "at": "soon"}, "When"),
    ("/tubs/rowan/visit", {"days": "900"}, "Next visit in"),
    ("/phones/account", {"name": "keeper", "password": WORDS, "again": "another"}, "A password"),
]


@pytest.fixture(scope="module")
def world() -> World:
    return World()


def field_refused(page: str) -> tuple[str, str]:
    """The name in the list at the head and the caption of the field that it leads to, which is marked and described."""
    (link,) = re.findall(r'<a href="#([^"]+)"><b>([^<]+)</b></a> <span>([^<]+)</span>', page)
    field, name, said = link
    assert f'<span class="wrong" id="{field}-e">{said}</span>' in page
    (marked,) = re.findall(r'<[a-z]+ [^>]*aria-invalid="true"[^>]*>', page)
    assert re.search(rf'aria-describedby="{field}-e[" ]', marked) and page.count(f'id="{field}"') == 1
    caption = page[: page.index('class="wrong"')].rpartition("</label>" if "<input" in marked else "<leg")
    before = caption[0] if "<input" in marked else caption[2]
    return html.unescape(name), html.unescape(re.sub(r"<[^>]*>", "", before.rpartition("<label")[2] or before))


@pytest.mark.parametrize(("form", "sent", "name"), FORMS, ids=lambda value: str(value)[:40])
def test_a_form_names_the_field_leads_to_it_and_says_beside_it_what_is_wrong(
    world: World, form: str, sent: dict[str, str], name: str
) -> None:
    client = TestClient(world.app, raise_server_exceptions=False, client=("127.0.0.1", 5000))
    answer = client.post(form, data={"key": "refused", **sent})
    assert answer.status_code == 422
    named, caption = field_refused(answer.text)
    assert named.startswith(name) and name in caption


def test_each_field_is_told_once_and_what_has_none_is_told_without_a_link(world: World) -> None:
    client = TestClient(world.app)
    page = client.post(f"{LARCH}/settings", data={**TUB, "temperature": "hot", "people": "x", "key": "k"}).text
    assert page.count('class="wrong"') == page.count("<li><a href=") == page.count('aria-invalid="true"') == 2
    nothing = client.post(f"{LARCH}/test", data={"method": "strip", "key": "k"}).text
    assert '<a href="#reading">' in nothing and 'id="reading"' in nothing and 'aria-invalid="true"' not in nothing
    elsewhere = client.get(f"{LARCH}/record?day=x").text
    assert "<li><b>Day</b>" in elsewhere and 'class="wrong"' not in elsewhere


def test_an_amount_in_a_visit_is_refused_beside_its_field_which_is_folded_out(
    open_context: Callable[..., BrowserContext], keeping: Keeping, tub: str
) -> None:
    keeping.record(tub, Kind.TEST, HIGH_PH)
    visits = Visits(keeping)
    visit = visits.begin(tub)
    while (turn := visits.show(tub, visit).turn) and turn.step.amount is None:
        visits.tell(tub, visit, Told(What.DONE, turn.key))
    page = open_context(java_script_enabled=False).new_page()
    page.goto(f"/tubs/{tub}/visit/{visit}")
    page.get_by_text("Different amount").click()
    page.get_by_label("or weighed").fill("a <b>handful")
    page.get_by_role("button", name="That much is in").click()
    field = page.locator("[name='amount'][aria-invalid='true']")
    expect(field).to_be_visible()
    expect(field).to_have_value("a <b>handful")
    expect(page.locator(f"[id='{field.get_attribute('aria-describedby')}']")).to_contain_text("a <b>handful")


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(
    ("form", "before", "field"),
    [
        ("/first", "[name='sanitizer']", "#litres"),
        ("/tubs/larch/add/dosed", "", "#f-amount"),
        ("/tubs/larch/out", "main summary", "#op"),
    ],
)
def test_the_list_leads_to_the_field_on_a_page_that_is_accessible(
    open_context: Callable[..., BrowserContext], tub: str, scheme: str, form: str, before: str, field: str
) -> None:
    page = open_context(color_scheme=scheme).new_page()
    page.goto(form)
    if before:
        page.locator(before).first.click()
    page.locator(field).fill("a lot")
    page.locator(".do").click()
    page.locator(f".says a[href='{field}']").click()
    expect(page.locator(field)).to_be_focused()
    expect(page.locator(f"{field}-e")).to_be_visible()
    assert violations(page) == []


@pytest.mark.parametrize("size", [PHONE, {**PHONE, "viewport": {"width": 360, "height": 740}}], ids=["phone", "narrow"])
def test_a_number_that_no_method_shows_is_refused_in_the_words_and_the_language_of_the_page(
    open_page: Callable[..., Page], keeping: Keeping, client: TestClient, tub: str, size: dict[str, object]
) -> None:
    page = open_page(f"/tubs/{tub}/test?method=photometer", size, at=START, locale="de-DE")
    said = "Diese Methode zeigt 6,8 bis 8,2 an."
    page.locator("#pH").fill("14")
    page.locator("form:has(#pH) .do").click()
    expect(page.locator("#pH-e")).to_have_text(said)
    expect(page.locator("#pH")).to_be_focused()
    assert page.locator("#pH").get_attribute("aria-invalid") == "true" and violations(page) == []
    assert page.evaluate("document.scrollingElement.scrollWidth") <= 390
    sent = {"method": "photometer", "pH": "14", "key": "k"}
    assert said in client.post(f"/tubs/{tub}/test", data=sent, headers={"accept-language": "de"}).text
    page.locator("#pH").fill("7.2")
    page.locator("#pH").blur()
    expect(page.locator("#pH-e")).to_have_text("")
    assert not [s for s in keeping.entries(tub) if s.entry.kind is Kind.TEST]


def test_a_tap_beyond_what_a_method_reads_says_so(open_page: Callable[..., Page], tub: str) -> None:
    page = open_page(f"/tubs/{tub}/test?method=photometer", at=START)
    page.locator("#pH").fill("8.2")
    page.get_by_role("button", name="pH: more").click()
    expect(page.locator("#pH")).to_have_value("8.20")
    expect(page.locator("#pH-e")).to_have_text("This method reads 6.8 to 8.2.")
    page.get_by_role("button", name="pH: less").click()
    expect(page.locator("#pH-e")).to_have_text("")


def test_what_is_left_out_is_said_beside_each_field_in_the_language_of_the_page(
    open_page: Callable[..., Page], keeping: Keeping
) -> None:
    page = open_page("/first", at=START, locale="de-DE")
    page.locator(".do").click()
    expect(page.locator("#f-sanitizer-e")).to_have_text("Eine Antwort muss gewählt werden.")
    expect(page.locator("#litres-e")).to_have_text("Bitte ausfüllen.")
    assert violations(page) == [] and list(keeping.store.tubs()) == []
    page.locator("[name='sanitizer']").first.check()
    page.locator("#litres").fill("1300")
    page.locator(".do").click()
    page.wait_for_url("**/tubs/*")
