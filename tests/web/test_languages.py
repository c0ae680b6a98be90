"""The pages speak the language that a browser prefers or that was chosen on them; nothing mixes two."""

from __future__ import annotations

import html
import re
from collections.abc import Callable

import pytest
from fastapi.testclient import TestClient
from markupsafe import Markup
from playwright.sync_api import Page, expect

from tubwater.services.keeping import Keeping
from tubwater.services.lookup import all_references
from tubwater.services.ports import Kind
from tubwater.tub import Basis, BasisKind, Reason
from tubwater.web.show import around, explain
from web.harness import violations

GERMAN = {"accept-language": "de-DE,de;q=0.9,en;q=0.5"}


def test_a_page_is_in_the_language_that_the_browser_prefers(client: TestClient) -> None:
    for headers, lang in ((GERMAN, "de"), ({"accept-language": "fr"}, "en-GB"), ({}, "en-GB")):
        answer = client.get("/facts", headers=headers)
        assert f'<html lang="{lang}"' in answer.text
        assert answer.headers["content-language"] == lang[:2]
        assert {"Cookie", "Accept-Language"} <= {name.strip() for name in answer.headers["vary"].split(",")}


def test_what_was_chosen_beats_what_the_browser_prefers(client: TestClient) -> None:
    answer = client.post(
        "/language", data={"language": "en", "to": "/facts?x=1"}, headers=GERMAN, follow_redirects=False
    )
    assert (answer.status_code, answer.headers["location"]) == (303, "/facts?x=1")
    assert '<html lang="en-GB"' in client.get("/facts", headers=GERMAN).text
    client.post("/language", data={"language": "de", "to": "/facts"})
    assert '<html lang="de"' in client.get("/facts").text


@pytest.mark.parametrize("to", ["//elsewhere.test/", "https://elsewhere.test/", "/\\elsewhere.test", "elsewhere", ""])
def test_it_never_leads_to_another_site(client: TestClient, to: str) -> None:
    answer = client.post("/language", data={"language": "de", "to": to}, follow_redirects=False)
    assert answer.headers["location"] == "/"


def test_a_language_that_is_not_there_is_refused(client: TestClient) -> None:
    assert client.post("/language", data={"language": "xx"}).status_code == 422
    client.cookies.set("language", "xx")
    assert '<html lang="de"' in client.get("/facts", headers=GERMAN).text


def test_errors_are_told_in_the_language_of_the_request(client: TestClient, tub: str) -> None:
    english = client.get("/api/tubs/none/plan").json()["error"]
    german = client.get("/api/tubs/none/plan", headers=GERMAN).json()["error"]
    assert english == 'the logbook holds no tub "none"' and german != english and '"none"' in german
    page = client.get(f"/tubs/{tub}/plan?minutes=soon", headers=GERMAN).text
    assert "soon" in page and "a number" not in page


def test_what_fails_inside_is_told_in_german_too(client: TestClient, tub: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> None:
        raise RuntimeError("planted")

    monkeypatch.setattr(Keeping, "file", fail)
    answer = client.get(f"/tubs/{tub}/settings", headers=GERMAN)
    assert answer.status_code == 500 and '<html lang="de"' in answer.text


def test_the_words_of_scripts_are_in_the_language_of_the_page(client: TestClient) -> None:
    english, german = client.get("/offline/words").json(), client.get("/offline/words", headers=GERMAN).json()
    assert (english["lang"], german["lang"]) == ("en-GB", "de") and english.keys() == german.keys()
    assert client.get("/manifest.webmanifest", headers=GERMAN).json()["lang"] == "de"


def test_a_decimal_comma_on_a_pad_is_a_number_in_its_form(client: TestClient, keeping: Keeping, tub: str) -> None:
    page = client.get(f"/tubs/{tub}/test", headers=GERMAN).text
    assert 'value="7.2"' in page and 'value="7,2"' not in page and ">7,2<" in page
    client.post(f"/tubs/{tub}/test", data={"method": "strip", "pH": "7.2:7.5", "key": "read"}, headers=GERMAN)
    (line,) = [line for line in keeping.history(tub) if line.stored.entry.kind is Kind.TEST]
    assert line.body["pH"] == ["7.2", "7.5"]


def test_a_calendar_is_in_the_language_in_which_it_was_shared(client: TestClient, tub: str) -> None:
    english, german = (client.get(f"/tubs/{tub}/calendar.ics?language={one}").text for one in ("en", "de"))
    assert "SUMMARY" in english and english != german
    assert client.get(f"/tubs/{tub}/calendar.ics", headers=GERMAN).text.count("SUMMARY") == german.count("SUMMARY")


def test_the_language_is_chosen_at_the_foot_of_a_page_and_kept_by_this_browser(
    open_page: Callable[..., Page], tub: str
) -> None:
    page = open_page(f"/tubs/{tub}/out")
    page.get_by_role("button", name="Deutsch").click()
    expect(page.locator("html")).to_have_attribute("lang", "de")
    assert page.url.endswith(f"/tubs/{tub}/out") and violations(page) == []
    page.goto("/facts")
    expect(page.locator("html")).to_have_attribute("lang", "de")
    page.get_by_role("button", name="English").click()
    expect(page.locator("html")).to_have_attribute("lang", "en-GB")


KEPT = """async (path) => {
  const found = await caches.match(path);
  return found ? (/<html[^>]* lang="([^"]+)"/.exec(await found.text()) || [])[1] : "";
}"""


def test_what_a_phone_keeps_follows_the_language(open_page: Callable[..., Page], tub: str) -> None:
    page = open_page("/facts")
    page.evaluate("() => navigator.serviceWorker.ready.then(() => true)")
    page.wait_for_function("navigator.serviceWorker.controller")
    page.goto("/facts")
    for path in ("/offline", "/facts"):
        expect_kept(page, path, "en-GB")
    page.get_by_role("button", name="Deutsch").click()
    expect(page.locator("html")).to_have_attribute("lang", "de")
    for path in ("/offline", "/facts"):
        expect_kept(page, path, "de")


def expect_kept(page: Page, path: str, lang: str) -> None:
    """Waits until the browser's own copy of a page is in a language."""
    page.wait_for_function(f"async ([path, lang]) => (await ({KEPT})(path)) === lang", arg=[path, lang])


@pytest.mark.parametrize(
    "path",
    [
        "/facts/substances",
        "/facts/methods",
        "/facts/guidelines",
        "/tubs/larch",
        "/tubs/larch/record",
        "/tubs/larch/volume?way=plate&litres=1300",
    ],
)
def test_what_the_facts_say_is_marked_as_english_on_a_german_page(client: TestClient, tub: str, path: str) -> None:
    german = client.get(path, headers={"accept-language": "de"}).text
    marked = re.findall(r'<span lang="en">[^<]+</span>', german)
    assert marked and "&lt;span" not in german
    rest = german
    for part in marked:
        rest = rest.replace(part, "")
    sources = [source.title for source in all_references().values()]
    assert [title for title in sources if html.escape(title) in rest] == []
    assert 'lang="en"' not in re.sub(r"<button[^>]*>", "", client.get(path).text)


def test_a_text_around_markup_escapes_everything_but_that() -> None:
    basis = explain(Reason("", basis=Basis(BasisKind.COMMON_PRACTICE, (), "<b>bold</b>")))
    assert "&lt;b&gt;bold&lt;/b&gt;" in basis
    assert around("tub.limits", basis=Markup("<i>x</i>")) == "Limits: <i>x</i>."
