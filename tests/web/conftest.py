"""A running application, a real browser at phone and desk size, and an engine that judges accessibility."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from datetime import datetime
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright

from tubwater.services.accounts import Accounts
from tubwater.services.keeping import Keeping
from tubwater.services.memory import MemoryEntries, MemorySnapshots, RandomNames
from tubwater.services.memory_accounts import MemoryAccounts
from tubwater.web import create_app
from web.harness import BODY, MOST, PHONE, START, ZONE, Clock, Plain, hold, serve


@pytest.fixture
def clock() -> Clock:
    return Clock(START)


@pytest.fixture
def keeping(clock: Clock) -> Keeping:
    return Keeping(MemoryEntries(), MemorySnapshots(), clock, RandomNames())


@pytest.fixture
def accounts(clock: Clock) -> Accounts:
    """Nobody has an account yet."""
    return Accounts(MemoryAccounts(), Plain(), clock, RandomNames())


@pytest.fixture
def tub(keeping: Keeping) -> str:
    """A bromine tub with five products and no test yet."""
    return keeping.add_tub(BODY, id="larch")


@pytest.fixture
def app(keeping: Keeping) -> FastAPI:
    return create_app(keeping, zone=ZONE, hosts=None)


@pytest.fixture
def client(app: FastAPI) -> Iterator[TestClient]:
    """Asks the application without a network; what fails inside is answered as for a browser."""
    with TestClient(app, raise_server_exceptions=False) as found:
        yield found


@pytest.fixture
def address(app: FastAPI) -> Iterator[str]:
    """Where the application answers a browser."""
    found, stop = serve(app)
    yield found
    stop()


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Debian's Chromium, or the one that CHROMIUM names."""
    program = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
    if not program:
        (pytest.fail if os.environ.get("CI") else pytest.skip)("no Chromium here")
    options = ["--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking"]
    options += ["--disable-component-update", "--disable-sync"]
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        options.append("--no-sandbox")
    expect.set_options(timeout=MOST)
    with sync_playwright() as playwright:
        found = playwright.chromium.launch(executable_path=program, args=options)
        yield found
        found.close()


@pytest.fixture
def open_context(browser: Browser, address: str) -> Iterator[Callable[..., BrowserContext]]:
    """A fresh browser: ``open_context(size, **options of the context)``; every one is closed at the end."""
    contexts: list[BrowserContext] = []

    def opened(size: dict[str, Any] = PHONE, **options: Any) -> BrowserContext:
        usual: dict[str, Any] = {"locale": "en-GB", "timezone_id": "Europe/London", "base_url": address}
        context = browser.new_context(**{**usual, **size, **options})
        context.set_default_timeout(MOST)
        contexts.append(context)
        return context

    yield opened
    for context in contexts:
        context.close()


@pytest.fixture
def open_page(open_context: Callable[..., BrowserContext], address: str) -> Iterator[Callable[..., Page]]:
    """Opens a page of a fresh browser: ``open_page(path, size, the time of its clock, **options of the context)``."""
    complaints: list[str] = []

    def opened(path: str = "/", size: dict[str, Any] = PHONE, at: datetime | None = None, **options: Any) -> Page:
        page = open_context(size, **options).new_page()
        if at is not None:
            hold(page, at)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("console", lambda message: complaints.append(message.text) if message.type == "error" else None)
        page.on("request", lambda request: _own(request.url, address, complaints))
        page.goto(path)
        return page

    yield opened
    assert complaints == [], "the browser complained"


def _own(url: str, address: str, complaints: list[str]) -> None:
    if not url.startswith((address, "data:", "blob:")):
        complaints.append(f"a request to {url}")
