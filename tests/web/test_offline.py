"""Without a network: a visit goes on by its packet, entries arrive once with their own times, no kept page says fit."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from fastapi import FastAPI
from playwright.sync_api import BrowserContext, Page, expect

from tubwater.services.keeping import Keeping
from tubwater.services.ports import Kind
from tubwater.services.visits import Visits
from tubwater.tub import Dosed
from tubwater.tub import Tested as Readings
from web.alone import all_sent, go_on_alone, set_worker, tell_alone, unsent
from web.beside import HIGH_PH, begin, kind, later, ready, stored, walk
from web.harness import MOST, Clock, hold, port_to_keep, serve, violations

GOOD = {"method": "photometer", "bromine": 4.5, "pH": 7.5}


@pytest.fixture
def larch(keeping: Keeping, tub: str, clock: Clock) -> str:
    """A tub whose plan is acid, its test, and the oxidizer."""
    keeping.record(tub, Kind.TEST, HIGH_PH)
    keeping.record(tub, Kind.NOTICED, {"clarity": "clear"})
    clock.time += timedelta(minutes=5)
    return tub


@pytest.fixture
def fit(keeping: Keeping, tub: str, clock: Clock) -> str:
    """A tub that is fit."""
    keeping.record(tub, Kind.TEST, GOOD)
    keeping.record(tub, Kind.NOTICED, {"clarity": "clear"})
    clock.time += timedelta(minutes=5)
    return tub


@pytest.fixture
def phone(app: FastAPI, open_context: Callable[..., BrowserContext], clock: Clock) -> Callable[..., Page]:
    """Opens a phone's browser; without a network it may complain of that."""
    set_worker(app, clock)

    def opened(**options: Any) -> Page:
        page = open_context(**options).new_page()
        hold(page, clock.time)
        return page

    return opened


def doses(keeping: Keeping, tub: str) -> list[Dosed]:
    return [e for e in keeping.file(tub).events if isinstance(e, Dosed)]


def test_a_visit_goes_on_without_a_network_and_everything_arrives_once_in_order_with_its_own_time(
    phone: Callable[..., Page], keeping: Keeping, larch: str, clock: Clock
) -> None:
    page = phone()
    visit = begin(page)
    walk(page, clock, "dose")
    ready(page)
    page.context.set_offline(True)
    dosed_at = clock.time
    tell_alone(page, "done")
    assert kind(page) == "wait"
    unsent(page)
    page.reload()
    expect(page.locator("[data-screen='wait']")).to_be_visible()
    unsent(page)
    later(page, clock, 21)
    expect(page.locator("[data-count]")).to_have_text("over by 1 min")
    go_on_alone(page)
    assert kind(page) == "test" and doses(keeping, larch) == []
    page.locator("label", has_text="7.5").first.click()
    tell_alone(page, "retest")
    assert kind(page) in ("dose", "feeder", "task")
    number, count = map(int, re.findall(r"\d+", page.locator(".progress").inner_text()))
    assert 1 < number <= count
    tell_alone(page, "done")
    later(page, clock, 30)
    page.context.set_offline(False)
    page.evaluate("() => dispatchEvent(new Event('online'))")
    all_sent(page)
    first = doses(keeping, larch)[0]
    assert first.product == "dry acid" and abs(first.at - dosed_at) <= timedelta(minutes=1)
    told = [s.entry for s in keeping.entries(larch) if s.entry.source.sequence is not None]
    assert [e.source.sequence for e in told] == sorted(e.source.sequence or 0 for e in told)
    assert len({e.id for e in told}) == len(told) and len({e.source.device for e in told}) == 1
    assert [e.happened for e in told] == sorted(e.happened for e in told)
    tests = [e for e in keeping.file(larch).events if isinstance(e, Readings)]
    assert len(tests) == 2 and abs(tests[1].at - dosed_at - timedelta(minutes=21)) <= timedelta(minutes=1)
    state = Visits(keeping).show(larch, visit)
    assert sum(s.answered for s in state.steps if s.key.startswith("1.")) == 1


def test_what_was_not_foreseen_stops_the_visit_until_there_is_a_network(
    phone: Callable[..., Page], keeping: Keeping, larch: str, clock: Clock
) -> None:
    page = phone()
    begin(page)
    walk(page, clock, "dose")
    ready(page)
    page.context.set_offline(True)
    page.get_by_text("Different amount").click()
    page.locator(".different input[name='measures']").fill("9")
    tell_alone(page, "other amount")
    expect(page.locator("#visit h1")).to_have_text("Stop here.")
    assert page.locator("#visit .act").count() == 0 and violations(page) == []
    page.context.set_offline(False)
    page.evaluate("() => dispatchEvent(new Event('online'))")
    all_sent(page)
    assert [d.grams for d in doses(keeping, larch)] == [135.0]


def test_without_a_network_too_a_dose_shown_for_long_is_asked_about_and_not_given_by_an_old_test(
    phone: Callable[..., Page], keeping: Keeping, larch: str, clock: Clock
) -> None:
    page = phone()
    begin(page)
    walk(page, clock, "dose")
    ready(page)
    page.context.set_offline(True)
    later(page, clock, 35)
    page.reload()
    expect(page.locator("[data-screen='asks']")).to_be_visible()
    tell_alone(page, "answered")
    assert kind(page) == "dose"
    later(page, clock, 120)
    page.reload()
    expect(page.locator("#visit h1")).to_have_text("Stop here.")


def test_a_server_that_stopped_is_no_different_and_takes_everything_when_it_is_back(
    phone: Callable[..., Page], app: FastAPI, keeping: Keeping, larch: str, clock: Clock
) -> None:
    port = port_to_keep()
    address, stop = serve(app, port)
    page = phone(base_url=address)
    begin(page)
    walk(page, clock, "dose")
    ready(page)
    stop()
    tell_alone(page, "done")
    assert kind(page) == "wait" and doses(keeping, larch) == []
    unsent(page)
    _, stop = serve(app, port)
    page.clock.fast_forward(16_000)
    all_sent(page)
    assert len(doses(keeping, larch)) == 1
    stop()


def test_without_a_service_worker_an_open_visit_goes_on_and_its_entries_arrive(
    phone: Callable[..., Page], keeping: Keeping, larch: str, clock: Clock
) -> None:
    page = phone(service_workers="block")
    page.route("**/packet", lambda route: route.abort())
    begin(page)
    walk(page, clock, "dose")
    expect(page.locator("[data-packet]")).to_have_text("Not yet ready to go on without a network.")
    page.unroute("**/packet")
    page.clock.fast_forward(16_000)  # it is asked for again, without a new page
    expect(page.locator("[data-packet]")).to_contain_text("while this page stays open", timeout=2 * MOST)
    page.context.set_offline(True)
    tell_alone(page, "done")
    assert kind(page) == "wait"
    page.context.set_offline(False)
    page.evaluate("() => dispatchEvent(new Event('online'))")
    all_sent(page)
    assert len(doses(keeping, larch)) == 1


def kept_pages(page: Page) -> list[str]:
    """What the phone holds of the pages, without what their scripts would have to bring back."""
    texts: list[str] = page.evaluate(
        """async () => { const cache = await caches.open('pages'); const found = [];
        for (const key of await cache.keys()) found.push(await (await cache.match(key)).text()); return found; }"""
    )
    return [re.sub(r"<template[\s\S]*?</template>", "", text) for text in texts]


def settled(page: Page, path: str) -> None:
    """Opens a page until the worker holds it."""
    page.goto("/")
    page.wait_for_function("() => navigator.serviceWorker.controller !== null")
    page.goto(path)
    stored(page, path)


def test_a_kept_page_says_fit_only_while_it_is_fresh_and_never_in_what_is_stored(
    phone: Callable[..., Page], fit: str, clock: Clock
) -> None:
    page = phone()
    settled(page, "/tubs/larch")
    expect(page.locator("[data-verdict='fit']")).to_have_count(1)
    stored = kept_pages(page)
    assert stored and not [text for text in stored if "may get in" in text or 'data-verdict="fit"' in text]
    page.context.set_offline(True)
    page.reload()
    expect(page.locator("[data-verdict='fit']")).to_have_count(1)
    for shift in (timedelta(days=3), timedelta(hours=-3)):
        hold(page, clock.time + shift)
        page.reload()
        expect(page.get_by_text("Not known here").first).to_be_visible()
        assert page.locator("[data-verdict='fit']").count() == 0


@pytest.mark.parametrize("minutes", [-40, 40, 60 * 24])
def test_a_phone_whose_clock_is_off_goes_by_the_time_of_the_computer_that_sent_the_page(
    phone: Callable[..., Page], fit: str, clock: Clock, minutes: int
) -> None:
    page = phone(service_workers="block")
    hold(page, clock.time + timedelta(minutes=minutes))
    page.goto("/tubs/larch")
    expect(page.locator("[data-verdict='fit']")).to_have_count(1)
    hold(page, clock.time + timedelta(minutes=minutes + 5))
    page.evaluate("() => dispatchEvent(new Event('pageshow'))")
    assert page.locator("[data-verdict='fit']").count() == 1
    hold(page, clock.time + timedelta(minutes=minutes) + timedelta(hours=30))
    page.evaluate("() => dispatchEvent(new Event('pageshow'))")
    expect(page.get_by_text("This page is too old to say.")).to_be_visible()
    assert page.locator("[data-verdict='fit']").count() == 0


def test_a_wrong_clock_is_named_where_nobody_can_tell_the_time(
    phone: Callable[..., Page], fit: str, clock: Clock
) -> None:
    page = phone(service_workers="block")
    page.route("**/api/clock", lambda route: route.abort())
    hold(page, clock.time - timedelta(minutes=40))
    page.goto("/tubs/larch")
    expect(page.get_by_text("This device’s clock is wrong")).to_be_visible()
    assert page.locator("[data-verdict='fit']").count() == 0 and violations(page) == []
    page.unroute("**/api/clock")
    page.evaluate("() => dispatchEvent(new Event('pageshow'))")
    expect(page.locator("[data-verdict='fit']")).to_have_count(1)
    hold(page, clock.time - timedelta(minutes=90))  # set back while the page stays open
    page.route("**/api/clock", lambda route: route.abort())
    page.evaluate("() => dispatchEvent(new Event('pageshow'))")
    expect(page.get_by_text("This device’s clock is wrong")).to_be_visible()
    assert page.locator("[data-verdict='fit']").count() == 0


def test_an_old_page_on_a_phone_whose_clock_is_behind_is_not_taken_for_a_fresh_one(
    phone: Callable[..., Page], fit: str, clock: Clock
) -> None:
    page = phone(service_workers="block")
    page.goto("/tubs/larch")
    text = page.content()
    clock.time += timedelta(hours=30)  # it is shown again by a clock that stands as it stood then, and a minute after
    page.route("**/tubs/larch", lambda route: route.fulfill(body=text, content_type="text/html"))
    for shift in (timedelta(minutes=-40), timedelta(hours=30)):
        hold(page, clock.time - timedelta(hours=30) + shift)
        page.goto("/tubs/larch")
        expect(page.get_by_text("This page is too old to say.")).to_be_visible()
        assert page.locator("[data-verdict='fit']").count() == 0


def test_a_page_kept_under_a_wrong_clock_is_not_known_until_the_computer_tells_the_time(
    phone: Callable[..., Page], app: FastAPI, fit: str, clock: Clock
) -> None:
    behind, page = timedelta(minutes=-40), phone()
    set_worker(app, clock, behind)
    hold(page, clock.time + behind)
    settled(page, "/tubs/larch")
    expect(page.locator("[data-verdict='fit']")).to_have_count(1)
    page.context.set_offline(True)
    page.reload()
    expect(page.get_by_text("This device’s clock is wrong")).to_be_visible()
    assert page.locator("[data-verdict='fit']").count() == 0


def test_nothing_is_called_fit_while_an_entry_is_unsent(phone: Callable[..., Page], fit: str, clock: Clock) -> None:
    page = phone()
    settled(page, "/tubs/larch")
    settled(page, "/tubs/larch/test")
    page.context.set_offline(True)
    page.locator("label", has_text="7.5").first.click()
    page.get_by_role("button", name="Save").click()
    unsent(page)
    page.goto("/tubs/larch")
    expect(page.get_by_text("Not known here").first).to_be_visible()
    assert page.locator("[data-verdict='fit']").count() == 0


def test_tests_entered_without_a_network_arrive_once_each_with_their_own_times(
    phone: Callable[..., Page], keeping: Keeping, larch: str, clock: Clock
) -> None:
    page = phone()
    settled(page, "/tubs/larch/test")
    page.context.set_offline(True)
    times = []
    for reading in ("7.8", "7.5"):
        page.reload()
        page.locator("label", has_text=reading).first.click()
        page.get_by_role("button", name="Save").click()
        unsent(page)
        expect(page.get_by_text("Kept on this phone")).to_be_visible()
        times.append(clock.time)
        later(page, clock, 10)
    page.context.set_offline(False)
    page.evaluate("() => dispatchEvent(new Event('online'))")
    all_sent(page)
    fresh = [e for e in keeping.file(larch).events if isinstance(e, Readings)][1:]
    assert [e.readings[0].value for e in fresh] == [7.8, 7.5]
    assert all(abs(e.at - at) < timedelta(minutes=1) for e, at in zip(fresh, times, strict=True))


def test_a_phone_whose_clock_is_off_is_asked_before_its_times_are_shifted(
    phone: Callable[..., Page], keeping: Keeping, larch: str, clock: Clock
) -> None:
    page = phone()
    settled(page, "/tubs/larch/test")
    page.context.set_offline(True)
    hold(page, clock.time - timedelta(minutes=40))
    page.reload()
    page.locator("label", has_text="7.8").first.click()
    page.get_by_role("button", name="Save").click()
    unsent(page)
    page.context.set_offline(False)
    page.evaluate("() => dispatchEvent(new Event('online'))")
    page.get_by_role("button", name="Shift them").click()
    all_sent(page)
    fresh = [e for e in keeping.file(larch).events if isinstance(e, Readings)][-1]
    assert abs(fresh.at - clock.time) < timedelta(minutes=2)


def test_a_page_that_was_never_opened_says_so_instead_of_showing_another(
    phone: Callable[..., Page], larch: str, clock: Clock
) -> None:
    page = phone()
    settled(page, "/tubs/larch")
    page.context.set_offline(True)
    page.goto("/tubs/larch/logbook")
    expect(page.locator("h1")).to_have_text("Not on this phone yet")
    expect(page.get_by_role("link", name="Larch")).to_be_visible()
    assert violations(page) == []


def test_the_tub_card_is_on_the_phone_dated_and_void_when_it_is_old(
    phone: Callable[..., Page], larch: str, clock: Clock
) -> None:
    page = phone()
    settled(page, "/tubs/larch/card")
    assert violations(page) == []
    page.context.set_offline(True)
    page.reload()
    expect(page.locator("table").first).to_be_visible()
    for shift in (timedelta(days=15), timedelta(days=-1)):
        hold(page, clock.time + shift)
        page.reload()
        expect(page.get_by_text("This card is too old")).to_be_visible()
        assert page.locator("table").count() == 0


def test_todays_round_is_loaded_at_once(phone: Callable[..., Page], larch: str, clock: Clock) -> None:
    page = phone()
    settled(page, "/")
    page.get_by_role("button", name="Load today").click()
    expect(page.get_by_role("button", name="Today’s round is on this phone")).to_be_visible()
    stored(page, "/tubs/larch/card")
    page.context.set_offline(True)
    page.goto("/tubs/larch/card")
    expect(page.locator("table").first).to_be_visible()


def test_the_worker_is_never_kept_by_the_browser_and_changes_with_the_files(client: Any) -> None:
    answer = client.get("/sw.js")
    assert answer.headers["cache-control"] == "no-cache" and "%" not in answer.text.split("const PAGES")[0]
    for path in re.findall(r'"(/static/[^"]+)"', answer.text):
        assert client.get(path).status_code == 200
    assert client.get("/manifest.webmanifest").json()["display"] == "standalone"
