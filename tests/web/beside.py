"""Walking a visit in a browser, for the tests of its pages."""

from __future__ import annotations

from datetime import timedelta

from playwright.sync_api import Page, expect

from web.harness import MOST, Clock, hold

__all__ = ["HIGH_PH", "another", "begin", "kind", "later", "old", "on", "press", "ready", "stored", "walk"]

HIGH_PH = {"method": "strip", "bromine": 3, "pH": 8.4, "total_alkalinity": 120}


def begin(page: Page) -> str:
    """Begins a visit; its id."""
    page.goto("/tubs/larch/visit")
    page.get_by_role("button", name="Begin").click()
    page.wait_for_url("**/visit/*", timeout=MOST)
    return page.url.rpartition("/")[2]


def kind(page: Page) -> str:
    """The kind of the screen that is shown, "" at the end."""
    page.wait_for_selector("[data-screen], .verdict, #visit h1", timeout=MOST)
    screen = page.locator("[data-screen]")
    return (screen.get_attribute("data-screen") or "") if screen.count() else ""


def press(page: Page, what: str) -> None:
    """Tells something by the button of a form, and waits until the next page is there."""
    old(page)
    page.locator(f"#visit form:has(input[name='what'][value='{what}']) button[type='submit']").last.click()
    another(page)


def old(page: Page) -> None:
    """Marks the page that is shown, and the offset of its clock, which the next page's module writes anew."""
    page.evaluate(
        "() => { document.body.dataset.old = '';"
        " const offset = localStorage.getItem('offset');"
        " if (offset !== null) localStorage.setItem('offset', offset.trim() + ' '); }"
    )


def another(page: Page) -> None:
    """Waits until another page than the marked one is there, and its module has looked at the clock.

    The module waits for others, so that it may run after the page is complete; a clock that a test moves before that
    is taken for one that is minutes off. A page from the phone's own store keeps the offset.
    """
    expect(page.locator("body:not([data-old])")).to_be_attached(timeout=MOST)
    page.wait_for_function(
        "() => document.readyState === 'complete' && (document.documentElement.dataset.kept !== undefined"
        " || !document.querySelector('#visit') || !localStorage.getItem('offset')?.endsWith(' '))",
        timeout=MOST,
    )
    page.wait_for_load_state()


def later(page: Page, clock: Clock, minutes: float) -> None:
    """Time passes, here and on the phone."""
    clock.time += timedelta(minutes=minutes)
    hold(page, clock.time)


def on(page: Page) -> None:
    """Goes on after a wait."""
    button = page.locator("[data-on] button")
    expect(button).to_be_enabled(timeout=MOST)
    old(page)
    button.click()
    another(page)


def walk(page: Page, clock: Clock, until: str) -> str:
    """Does every step as planned until a kind of screen is there."""
    for _ in range(30):
        found = kind(page)
        if found in (until, ""):
            return found
        if found == "wait":
            later(page, clock, 20)
            on(page)
        else:
            press(page, "done")
            later(page, clock, 1)
    raise AssertionError("the visit never comes to it")


def ready(page: Page) -> None:
    """Waits until the phone holds the packet and its pages."""
    expect(page.locator("[data-packet]")).to_have_text("This visit works without a network.", timeout=2 * MOST)
    page.wait_for_function("() => navigator.serviceWorker.controller !== null", timeout=MOST)
    stored(page, page.url.partition("?")[0].removeprefix(page.evaluate("() => location.origin")))


def stored(page: Page, path: str) -> None:
    """Waits until the worker holds a page."""
    for _ in range(MOST // 200):
        if page.evaluate("async path => Boolean(await (await caches.open('pages')).match(path))", path):
            return
        page.wait_for_timeout(200)
    raise AssertionError(f"{path} is not on the phone")
