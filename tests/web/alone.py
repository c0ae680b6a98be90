"""A phone without a network: the clock of its worker, and what is told and sent."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from fastapi import FastAPI
from playwright.sync_api import Page, expect
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from tubwater.web.visit_worker import worker
from web.harness import Clock

# What a page is told by ``hold`` does not reach the worker: the clock of the phone is put there as far off.
SHIFTED = """
{ const Real = Date, shift = %d;
  globalThis.Date = class extends Real {
    constructor(...said) { if (said.length) super(...said); else super(Real.now() + shift); }
    static now() { return Real.now() + shift; }
  }; }
"""


def set_worker(app: FastAPI, clock: Clock, off: timedelta = timedelta()) -> None:
    """The clock of the worker of every phone that asks for it from now on."""

    def told(_: Request) -> Response:
        ahead = (clock.time + off - datetime.now(UTC)) / timedelta(milliseconds=1)
        answer = worker()
        return Response((SHIFTED % ahead).encode() + bytes(answer.body), media_type="text/javascript")

    app.router.routes.insert(0, Route("/sw.js", told))


def tell_alone(page: Page, what: str) -> None:
    """Tells something without a network, and waits for the next screen of the packet."""
    page.evaluate("() => { document.querySelector('#visit').firstElementChild.dataset.old = ''; }")
    page.locator(f"#visit form:has(input[name='what'][value='{what}']) button[type='submit']").last.click()
    expect(page.locator("#visit > [data-old]")).to_have_count(0)


def go_on_alone(page: Page) -> None:
    page.evaluate("() => { document.querySelector('#visit').firstElementChild.dataset.old = ''; }")
    page.locator("[data-on] button").click()
    expect(page.locator("#visit > [data-old]")).to_have_count(0)


def unsent(page: Page) -> None:
    expect(page.locator("[data-unsent]")).to_be_visible()


def all_sent(page: Page) -> None:
    """Waits until nothing is left to send."""
    expect(page.locator("[data-unsent]")).to_be_hidden()
