"""The store stops, is held or cannot be written while the pages are in use: said in a sentence, and nothing is lost."""

from __future__ import annotations

import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from playwright.sync_api import BrowserContext, expect
from sqlalchemy import event

from logbook.places import Server, server_programs
from tubwater.errors import StoreUnavailable
from tubwater.logbook import SqlLogbook, open_logbook
from tubwater.services.keeping import Keeping
from tubwater.services.memory import MemoryEntries, MemorySnapshots, RandomNames
from tubwater.services.ports import Kind, Stored
from tubwater.web import create_app
from web.harness import BODY, ZONE, Clock, hold, serve

TEST = {"method": "strip", "bromine": "3", "pH": "7.5", "key": "one"}


def pages_over(logbook: SqlLogbook, clock: Clock) -> TestClient:
    """The application over a stored logbook with one tub."""
    keeping = Keeping(logbook.entries, logbook.snapshots, clock, RandomNames())
    keeping.add_tub(BODY, id="larch")
    return TestClient(create_app(keeping, zone=ZONE, hosts=None, kits=logbook.kits), raise_server_exceptions=False)


def refused(client: TestClient, said: str) -> None:
    """An entry and the clock of the phones' queues are refused, in a sentence and without a word of the machine's."""
    answer = client.post("/tubs/larch/test", data=TEST)
    assert answer.status_code == 503 and "The logbook cannot be reached" in answer.text
    assert said in answer.text and "Nothing was kept of this" in answer.text
    assert "Traceback" not in answer.text and "sqlalchemy" not in answer.text


def taken_once(client: TestClient, logbook: SqlLogbook) -> None:
    """Whoever sends the same form again has entered it, once."""
    for _ in range(2):
        assert client.post("/tubs/larch/test", data=TEST, follow_redirects=False).status_code == 303
    assert [s.entry.id for s in logbook.entries.of("larch") if s.entry.kind is Kind.TEST] == ["one"]


@pytest.fixture
def file(tmp_path: Path) -> Iterator[SqlLogbook]:
    opened = open_logbook(tmp_path / "logbook.db", busy_seconds=0.1)
    yield opened
    opened.close()


def test_a_file_that_another_program_holds(file: SqlLogbook, clock: Clock, tmp_path: Path) -> None:
    client = pages_over(file, clock)
    other = sqlite3.connect(tmp_path / "logbook.db", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    refused(client, "held by another program")
    assert client.get("/tubs/larch/test").status_code == 200, "what is kept can still be read"
    other.close()
    taken_once(client, file)


def test_a_file_that_can_only_be_read(file: SqlLogbook, clock: Clock) -> None:
    client, only = pages_over(file, clock), ["on"]

    @event.listens_for(file.database.engine, "checkout")
    def _read_only(connection: Any, *_: object) -> None:
        connection.execute(f"PRAGMA query_only={only[0]}")

    refused(client, "cannot be written")
    assert client.get("/tubs/larch/test").status_code == 200
    only[0] = "off"
    taken_once(client, file)


@pytest.fixture
def server() -> Iterator[Server]:
    """A server of its own, since it is stopped here."""
    programs = server_programs()
    if programs is None:
        pytest.fail("no PostgreSQL server: install Debian's postgresql")
    folder = tempfile.mkdtemp(prefix="pg")
    try:
        started = Server(programs, folder)
        started.start()
        yield started
        started.stop()
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def test_a_server_that_stops_in_the_middle(server: Server, clock: Clock) -> None:
    logbook = open_logbook(server.new_place())
    client = pages_over(logbook, clock)
    assert client.get("/tubs/larch/test").status_code == 200
    server.stop()
    try:
        refused(client, "does not answer")
        assert client.get("/healthz").status_code == client.get("/api/clock").status_code == 503
        assert client.get("/").status_code == 503
    finally:
        server.start()
    taken_once(client, logbook)
    assert client.get("/healthz").status_code == 200
    logbook.close()


class Stopping(MemoryEntries):
    """Entries whose place can be out of reach."""

    stopped = False

    def of(self, tub: str) -> list[Stored]:
        self._reach()
        return super().of(tub)

    def tubs(self) -> list[str]:
        self._reach()
        return super().tubs()

    def _reach(self) -> None:
        if self.stopped:
            raise StoreUnavailable("the database does not answer")


def test_what_is_entered_while_the_store_is_out_of_reach_stays_on_the_phone_and_arrives_once(
    open_context: Callable[..., BrowserContext], clock: Clock
) -> None:
    store = Stopping()
    keeping = Keeping(store, MemorySnapshots(), clock, RandomNames())
    keeping.add_tub(BODY, id="larch")
    app: FastAPI = create_app(keeping, zone=ZONE, hosts=None)
    address, stop = serve(app)
    page = open_context(base_url=address).new_page()
    hold(page, clock.time)
    page.goto("/tubs/larch/test")
    store.stopped = True
    page.locator("label", has_text="7.8").first.click()
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_text("Kept on this phone")).to_be_visible()
    page.clock.fast_forward(16_000)  # the queue tries, and keeps what is refused
    expect(page.locator("[data-unsent]")).to_be_visible()
    store.stopped = False
    page.clock.fast_forward(16_000)
    expect(page.locator("[data-unsent][hidden]")).to_have_count(1)
    (found,) = keeping.file("larch").events
    assert abs(found.at - clock.time) < timedelta(minutes=1)
    stop()


def test_the_clock_of_the_computer_set_back_loses_no_entry_and_calls_nothing_fit_by_a_test_still_to_come(
    client: TestClient, keeping: Keeping, clock: Clock, tub: str
) -> None:
    good = {"method": "photometer", "bromine": "4.5", "pH": "7.5", "clarity": "clear", "key": "before"}
    assert client.post(f"/tubs/{tub}/test", data=good, follow_redirects=False).status_code == 303
    assert keeping.verdict(tub).kind == "fit"
    clock.time -= timedelta(hours=3)
    for path in ("/", f"/tubs/{tub}", f"/tubs/{tub}/plan", f"/tubs/{tub}/test", f"/tubs/{tub}/logbook"):
        answer = client.get(path)
        assert answer.status_code == 200 and 'data-verdict="fit"' not in answer.text, path
    assert "set the clock right" in client.get(f"/tubs/{tub}").text
    assert client.post(f"/tubs/{tub}/test", data=TEST, follow_redirects=False).status_code == 303
    assert {line.stored.entry.id for line in keeping.history(tub)} >= {"before", "one"}
    clock.time += timedelta(hours=3, minutes=1)
    assert "clock-behind" not in {reason.kind for reason in keeping.verdict(tub).reasons}
