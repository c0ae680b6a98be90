"""A tub that is known: from the first page to the verdict and the first dose, by taps alone."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

from playwright.sync_api import Page, expect

from tubwater.services.keeping import Keeping
from tubwater.services.ports import Kind
from web.harness import Clock

MOST_TAPS = 6
COUNT = """
const count = (what) => sessionStorage.setItem(what, 1 + Number(sessionStorage.getItem(what) || 0));
addEventListener("pointerdown", (event) => { if (event.isTrusted) count("taps"); }, true);
addEventListener("keydown", () => count("keys"), true);
"""


def counted(page: Page, what: str) -> int:
    """What the browser itself counted, over all pages of this tab."""
    return int(page.evaluate("what => Number(sessionStorage.getItem(what) || 0)", what))


def known(keeping: Keeping, clock: Clock, tub: str) -> None:
    """A week ago it was tested, and all was well."""
    keeping.record(tub, Kind.TEST, {"method": "strip", "bromine": 4, "pH": 7.4, "total_alkalinity": 100})
    clock.time += timedelta(days=7)


def from_the_first_page(page: Page, tub: str) -> None:
    page.add_init_script(COUNT)
    page.goto("/")
    page.locator(f"a[href='/tubs/{tub}']").first.tap()
    page.get_by_role("link", name="Enter a test").tap()
    page.locator("label:has(input[name='bromine'][value='1'])").tap()
    page.locator("label:has(input[name='pH'][value='7.8'])").tap()
    page.get_by_role("button", name="Save the test").tap()


def test_a_known_tub_answers_two_numbers_with_verdict_and_first_dose_in_six_taps(
    open_page: Callable[..., Page], keeping: Keeping, clock: Clock, tub: str
) -> None:
    known(keeping, clock, tub)
    page = open_page()
    from_the_first_page(page, tub)
    expect(page.locator("[data-verdict]").first).to_be_visible()
    expect(page.locator(".dose").first).to_be_visible()
    assert 0 < counted(page, "taps") <= MOST_TAPS
    assert counted(page, "keys") == 0


def test_the_verdict_and_the_dose_of_those_taps_stand_on_the_first_screen(
    open_page: Callable[..., Page], keeping: Keeping, clock: Clock, tub: str
) -> None:
    known(keeping, clock, tub)
    page = open_page()
    from_the_first_page(page, tub)
    expect(page.locator(".verdict h2").first).to_be_in_viewport()
    expect(page.locator(".dose").first).to_be_in_viewport()
