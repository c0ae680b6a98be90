"""Every page that the application has: accessible in light and dark at phone and desk size, narrow, light, whole."""

from __future__ import annotations

import html
import re
from collections.abc import Callable, Iterator
from functools import cache
from itertools import product

import pytest
from fastapi.testclient import TestClient
from playwright.sync_api import BrowserContext, Page

from tubwater.reports.language import Language, texts
from web.harness import DESK, PHONE, START, serve, violations
from web.world import ADDRESSES, NOT_PAGES, World, routes

MOST_BYTES = 100_000
ALL = [address for addresses in ADDRESSES.values() for address in addresses]
# What scripts bring beside the content: they help where they run, and nobody misses them where they don't.
HELP = "[data-packet], [data-count], [data-alarm], [data-unsent], [data-load-round], [data-until], time, small"
HELP += ", .strip, .run"


@pytest.fixture(scope="module")
def world() -> World:
    return World()


@pytest.fixture(scope="module")
def world_client(world: World) -> TestClient:
    return TestClient(world.app, raise_server_exceptions=False)


@pytest.fixture(scope="module")
def address(world: World) -> Iterator[str]:
    """Where the tubs of the world are; each page of these tests asks here."""
    found, stop = serve(world.app)
    yield found
    stop()


def test_every_page_of_the_route_table_is_looked_at(world: World) -> None:
    pages = {path for path in routes(world.app, "GET") if not path.startswith("/api/")} - NOT_PAGES
    assert pages == set(ADDRESSES)


def test_what_is_called_no_page_is_none(world: World, world_client: TestClient) -> None:
    for path in NOT_PAGES & routes(world.app, "GET"):
        answer = world_client.get(path.replace("{tub}", "larch"))
        assert answer.status_code == 404 or "html" not in answer.headers["content-type"], path


@pytest.mark.parametrize("path", ALL)
def test_a_page_is_light(world_client: TestClient, path: str) -> None:
    answer = world_client.get(path)
    assert answer.status_code == 200 and len(answer.content) < MOST_BYTES


@pytest.mark.parametrize("path", ALL)
def test_a_page_is_in_german_for_whom_it_is(world_client: TestClient, path: str) -> None:
    answer = world_client.get(path, headers={"accept-language": "de"})
    assert '<html lang="de"' in answer.text and answer.headers["content-language"] == "de"
    shown = " ".join(html.unescape(re.sub(r"<[^>]+>", " ", answer.text)).split())
    left = [part for part in english() if part in shown and re.search(rf"(?<!\w){re.escape(part)}(?!\w)", shown)]
    assert [part for part in left if part not in OF_THE_FACTS] == []


# Notes and titles of the facts stay in their own language; these words of theirs stand in a text of ours as well.
OF_THE_FACTS = frozenset({"in the water"})


@cache
def english() -> tuple[str, ...]:
    """The parts of English texts between their gaps that are three words or more."""
    german = " ".join(text for said in texts(Language.GERMAN).values() for text in said.values())
    known = texts(Language.ENGLISH)
    # What a substance is also called stands in the facts as well, and no page of these refuses anything.
    said = [text for section in known if section not in ("product", "refusal") for text in known[section].values()]
    parts = {part.strip(" .,:;()") for text in said for part in re.split(r"\{.*?\}|\[\[|\]\]", text)}
    return tuple(part for part in sorted(parts) if len(part.split()) >= 3 and part not in german)


def test_enough_of_the_english_texts_is_looked_for() -> None:
    assert len(english()) > 1000 and "Nobody in the water for now" in english()


@pytest.mark.parametrize("path", ALL)
def test_a_page_is_accessible_at_phone_and_desk_size_in_light_and_dark(
    open_page: Callable[..., Page], path: str
) -> None:
    page = open_page(path, at=START)
    found = []
    for size, scheme in product((PHONE, DESK), ("light", "dark")):
        page.set_viewport_size(size["viewport"])
        page.emulate_media(color_scheme=scheme)
        found += [f"{size['viewport']['width']} px, {scheme}: {line}" for line in violations(page)]
    assert found == []


@pytest.mark.parametrize("path", ALL)
def test_a_page_fits_a_narrow_phone_and_needs_no_script(open_page: Callable[..., Page], path: str) -> None:
    narrow = {**PHONE, "viewport": {"width": 360, "height": 740}}
    page = open_page(path, narrow, at=START)
    assert page.evaluate("document.scrollingElement.scrollWidth") <= 360
    german = open_page(path, narrow, at=START, locale="de-DE")
    assert german.evaluate("document.scrollingElement.scrollWidth") <= 360
    plain = open_page(path, narrow, java_script_enabled=False)
    assert plain.locator("h1").count() == 1 and set(lines(page)) <= set(lines(plain))


def lines(page: Page) -> list[str]:
    """What a page shows, line by line, without what scripts only help with."""
    page.locator(HELP).evaluate_all(
        "found => found.forEach(one => one.style.setProperty('display', 'none', 'important'))"
    )
    return [line.strip() for line in page.locator("main").inner_text().splitlines() if line.strip()]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(
    "path", ["/nowhere", "/tubs/none", "/tubs/larch/plan?minutes=soon", "/tubs/larch/volume?way=x"]
)
def test_what_is_refused_is_said_on_a_page_that_is_accessible_too(
    open_context: Callable[..., BrowserContext], path: str, scheme: str
) -> None:
    page = open_context(color_scheme=scheme).new_page()
    answer = page.goto(path)
    assert answer is not None and 400 <= answer.status < 500 and violations(page) == []


# The engine sees what is planted, so that its silence means something.


@pytest.mark.parametrize(
    ("planted", "rule"),
    [
        ("<h5>too deep</h5>", "heading-order"),
        ("<p style='color:#bbb;background:#fff'>pale</p>", "color-contrast"),
        ("<button style='width:12px;height:12px;padding:0;border:0'>a</button>" * 2, "target-size"),
        ("<img src='data:,'>", "image-alt"),
        ("<input type='text'>", "label"),
    ],
)
def test_the_engine_finds_what_is_planted(open_context: Callable[..., BrowserContext], planted: str, rule: str) -> None:
    page = open_context(bypass_csp=True).new_page()
    page.set_content(f"<!doctype html><html lang='en'><title>t</title><main><h1>t</h1>{planted}</main></html>")
    assert rule in {line.partition(":")[0] for line in violations(page)}
