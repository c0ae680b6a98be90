"""The visit in a real browser, at phone size and once at a desk: test, plan, steps, retest, plan anew, verdict."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from fastapi.testclient import TestClient
from playwright.sync_api import Error, Page, Request, Route, expect

from tubwater.services.keeping import Keeping
from tubwater.services.ports import Kind
from tubwater.services.visits import Running, Told, Visits, What
from tubwater.tub import Dosed, VerdictKind
from web.beside import HIGH_PH, another, begin, kind, later, old, on, press, ready, walk
from web.harness import DESK, PHONE, Clock, hold, violations


@pytest.fixture
def larch(keeping: Keeping, tub: str, clock: Clock) -> str:
    """A tub whose plan is acid, its test, and the oxidizer."""
    keeping.record(tub, Kind.TEST, HIGH_PH)
    keeping.record(tub, Kind.NOTICED, {"clarity": "clear"})
    clock.time += timedelta(minutes=5)
    return tub


def started(open_page: Callable[..., Page], clock: Clock, **options: object) -> Page:
    page = open_page("/", **options)
    hold(page, clock.time)
    return page


def at_the_dose(open_page: Callable[..., Page], clock: Clock, **options: object) -> Page:
    """A visit that was begun and has come to its first dose."""
    page = started(open_page, clock, **options)
    begin(page)
    assert walk(page, clock, "dose") == "dose"
    return page


def doses(keeping: Keeping, tub: str) -> list[Dosed]:
    return [e for e in keeping.file(tub).events if isinstance(e, Dosed)]


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_a_whole_visit_from_the_test_to_the_verdict(
    open_page: Callable[..., Page], keeping: Keeping, larch: str, clock: Clock, size: dict[str, Any]
) -> None:
    page = at_the_dose(open_page, clock, size=size)
    expect(page.locator(".amount")).to_contain_text("g")
    assert page.locator(".screen .caution").is_visible() and violations(page) == []
    press(page, "done")
    verdict = keeping.verdict(larch)
    assert kind(page) == "wait" and verdict.kind is not VerdictKind.FIT
    assert "wait-of-visit" in {reason.kind for reason in verdict.reasons}
    assert violations(page) == []
    later(page, clock, 20)
    on(page)
    assert kind(page) == "test"
    page.locator("label", has_text="7.5").first.click()
    assert violations(page) == []
    press(page, "retest")
    expect(page.locator("details.again")).to_have_count(1)
    assert walk(page, clock, "") == ""
    expect(page.locator(".verdict")).to_be_visible()
    assert next(d.product for d in doses(keeping, larch)) == "dry acid"
    assert violations(page) == []


def test_the_timer_survives_sleep_and_reload_and_says_how_long_it_is_over(
    open_page: Callable[..., Page], larch: str, clock: Clock
) -> None:
    page = at_the_dose(open_page, clock)
    press(page, "done")
    count = page.locator("[data-count]")
    expect(count).to_have_text("20:00")
    later(page, clock, 5)
    expect(count).to_have_text("15:00")
    due = (clock.time + timedelta(hours=24)).isoformat()  # as after a long hold
    page.evaluate("due => { document.querySelector(\"[data-screen='wait']\").dataset.due = due; }", due)
    expect(count).to_have_text("24 h 00 min")
    page.reload()
    expect(page.locator("[data-count]")).to_have_text("15:00")
    assert page.locator("[data-on] button").is_disabled()
    later(page, clock, 18)
    expect(page.locator("[data-count]")).to_have_text("over by 3 min")
    expect(page.locator("[data-on] button")).to_be_enabled()


def test_another_amount_in_the_products_own_measure_plans_anew(
    open_page: Callable[..., Page], keeping: Keeping, larch: str, clock: Clock
) -> None:
    page = at_the_dose(open_page, clock)
    page.get_by_text("Different amount").click()
    page.locator(".different input[name='measures']").fill("2")
    press(page, "other amount")
    assert kind(page) == "wait" and [d.grams for d in doses(keeping, larch)] == [30.0]


def test_an_amount_that_is_far_off_is_asked_back_and_put_right_with_its_wait_as_it_was(
    open_page: Callable[..., Page], keeping: Keeping, larch: str, clock: Clock
) -> None:
    page = at_the_dose(open_page, clock)
    page.get_by_text("Different amount").click()
    page.locator(".different input[name='amount']").fill("8000 g")
    press(page, "other amount")
    expect(page.get_by_role("heading", name="You entered 8 kg; the step says")).to_be_visible()
    page.get_by_text("All steps").click()
    page.get_by_text("No, it was another amount").click()
    assert violations(page) == []
    (before,) = doses(keeping, larch)
    later(page, clock, 2)
    page.locator(".different input[name='amount']").fill("20 g")
    press(page, "other amount")
    expect(page.get_by_text("Is that right?")).to_have_count(0)
    assert [(d.grams, d.at) for d in doses(keeping, larch)] == [(20.0, before.at)]


def test_an_amount_that_cannot_be_meant_is_said_and_nothing_is_kept(
    open_page: Callable[..., Page], keeping: Keeping, larch: str, clock: Clock
) -> None:
    page = open_page("/")
    page.on("console", lambda message: None)
    visits = Visits(keeping)
    visit = visits.begin(larch)
    while (turn := visits.show(larch, visit).turn) and turn.step.amount is None:
        visits.tell(larch, visit, Told(What.DONE, turn.key))
    assert turn is not None
    answer = page.request.post(
        f"/tubs/larch/visit/{visit}",
        form={"what": "other amount", "step": turn.key, "amount": "a handful", "key": "k"},
    )
    assert answer.status == 422 and "a handful" in answer.text() and doses(keeping, larch) == []


def test_what_is_missing_is_planned_around_and_the_last_answer_can_be_undone(
    open_page: Callable[..., Page], keeping: Keeping, larch: str, clock: Clock
) -> None:
    page = at_the_dose(open_page, clock)
    press(page, "not in hand")
    expect(page.locator("h1").first).not_to_contain_text("Dry acid")
    old(page)
    page.get_by_role("button", name="Undo").click()
    another(page)
    expect(page.locator("h1").first).to_contain_text("Dry acid")


def test_who_leaves_locks_the_cover_and_hands_over_and_somebody_takes_it_up(
    open_page: Callable[..., Page], keeping: Keeping, larch: str, clock: Clock
) -> None:
    page = started(open_page, clock)
    begin(page)
    walk(page, clock, "wait")
    page.get_by_text("I am leaving").click()
    page.get_by_label("Who takes over?").fill("the neighbour")
    leave = page.get_by_role("button", name="Hand over and leave")
    leave.click()
    expect(page.locator("input[name='locked']:invalid")).to_be_attached()  # the cover is not locked yet
    expect(page.locator("#visit[data-phase='running']")).to_be_attached()
    page.get_by_text("The cover is closed and locked").click()
    leave.click()
    expect(page.locator("h1").first).to_contain_text("the neighbour")
    assert violations(page) == []
    page.get_by_role("button", name="Take it up").click()
    expect(page.locator("#visit[data-phase='running']")).to_be_visible()


def test_two_phones_at_once_enter_one_dose_and_the_second_is_told(
    open_page: Callable[..., Page], keeping: Keeping, larch: str, clock: Clock
) -> None:
    first = started(open_page, clock)
    visit = begin(first)
    walk(first, clock, "dose")
    second = started(open_page, clock)
    second.goto(first.url)
    assert kind(second) == "dose"
    press(first, "done")
    second.on("console", lambda message: None)
    turn = next(s for s in Visits(keeping).show(larch, visit).steps if s.grams)
    answer = second.request.post(f"/tubs/larch/visit/{visit}", form={"what": "done", "step": turn.key, "key": "late"})
    assert answer.status == 409 and "said so already" in answer.text()
    second.reload()
    assert kind(second) == "wait" and len(doses(keeping, larch)) == 1


def slowly(page: Page, pattern: str, method: str, milliseconds: int) -> None:
    """The first request of a kind is held on its way."""
    held: list[Request] = []

    def hold_back(route: Route) -> None:
        first = route.request.method == method and not held
        held.append(route.request) if first else None
        if first:
            page.wait_for_timeout(milliseconds)
        with contextlib.suppress(Error):  # the page gave it up meanwhile
            route.continue_()

    page.route(re.compile(pattern), hold_back)


def test_a_second_tap_while_the_next_page_is_on_its_way_counts_for_nothing(
    open_page: Callable[..., Page], keeping: Keeping, larch: str, clock: Clock
) -> None:
    page = at_the_dose(open_page, clock)
    button = page.locator("#visit form:has(input[value='done']) button").first
    page.evaluate(
        "() => navigation.addEventListener('navigate', (event) => event.preventDefault(), { once: true })"
    )  # the next page never comes
    button.click()
    expect(page.locator("#visit[data-working]")).to_be_attached()
    page.wait_for_function("() => !document.querySelector('[data-unsent]:not([hidden])')")
    button.click()
    page.wait_for_timeout(1000)
    page.reload()
    assert kind(page) == "wait" and len(doses(keeping, larch)) == 1
    expect(page.get_by_text("not taken")).to_have_count(0)


def test_a_slow_answer_is_waited_for_and_no_lost_network(
    open_page: Callable[..., Page], keeping: Keeping, larch: str, clock: Clock
) -> None:
    page = at_the_dose(open_page, clock)
    ready(page)
    slowly(page, "/told/", "PUT", 9000)
    page.evaluate(
        "() => new MutationObserver(() => sessionStorage.setItem('alone', 'yes'))"
        ".observe(document.querySelector('#visit'), { childList: true })"
    )
    press(page, "done")
    assert page.evaluate("() => sessionStorage.getItem('alone')") is None
    assert kind(page) == "wait" and len(doses(keeping, larch)) == 1
    expect(page.locator("[data-unsent]")).to_be_hidden()
    page.unroute_all(behavior="wait")


def test_a_visit_goes_by_the_keyboard_alone(
    open_page: Callable[..., Page], keeping: Keeping, larch: str, clock: Clock
) -> None:
    page = at_the_dose(open_page, clock)
    for _ in range(12):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.textContent.includes('Done, it is in')"):
            break
    old(page)
    page.keyboard.press("Enter")
    another(page)
    assert kind(page) == "wait" and len(doses(keeping, larch)) == 1


def test_a_visit_needs_no_script(open_page: Callable[..., Page], keeping: Keeping, larch: str, clock: Clock) -> None:
    page = open_page("/tubs/larch/visit", java_script_enabled=False)
    begin(page)
    while kind(page) != "dose":
        press(page, "done")
    press(page, "done")
    assert kind(page) == "wait"
    assert page.get_by_text("Nobody in, nothing more in, until 12:25.").is_visible() and len(doses(keeping, larch)) == 1


@pytest.mark.parametrize("language", ["en", "de"])
def test_the_screen_after_a_test_says_what_the_test_changed_of_the_plan(
    client: TestClient, keeping: Keeping, larch: str, clock: Clock, language: str
) -> None:
    visits = Visits(keeping)
    visit = visits.begin(larch)
    while (turn := visits.show(larch, visit).turn) and turn.step.kind.value != "test":
        if turn.due:
            clock.time = turn.due
        else:
            visits.tell(larch, visit, Told(What.DONE, turn.key))
    assert turn is not None
    before = ahead(visits.show(larch, visit)) - 1
    test = {"method": "strip", "bromine": 1, "pH": 6.8, "total_alkalinity": 40}
    more = ahead(visits.tell(larch, visit, Told(What.RETEST, turn.key, test=test))) - before
    said = anew(client, larch, visit, language)
    assert more > 1 and str(more) in said and ("icarbonate" in said or "Natron" in said)
    following = visits.show(larch, visit).turn
    assert following is not None
    visits.tell(larch, visit, Told(What.DONE, following.key))
    assert anew(client, larch, visit, language) == ""


def ahead(state: Running) -> int:
    return sum(not s.answered and not s.beside and s.step.kind.value != "wait" for s in state.steps)


def anew(client: TestClient, tub: str, visit: str, language: str) -> str:
    """What the page of a visit says that a test changed, "" where it says nothing."""
    page = client.get(f"/tubs/{tub}/visit/{visit}", headers={"accept-language": language}).text
    found = re.search(r'<p class="anew"[^>]*>(.*?)</p>', page.replace("&nbsp;", " "))
    return found[1] if found else ""


def test_back_leads_out_of_the_visit_however_many_screens_were_answered(
    open_page: Callable[..., Page], larch: str, clock: Clock
) -> None:
    page = started(open_page, clock)
    page.goto(f"/tubs/{larch}")
    page.goto(f"/tubs/{larch}/plan")
    before = page.evaluate("() => history.length")
    begin(page)
    assert walk(page, clock, "test") == "test"
    assert page.evaluate("() => history.length") == before + 1
    page.go_back()
    assert page.url.endswith(f"/tubs/{larch}/plan")


def test_the_interface_for_scripts_tells_once_and_refuses_what_cannot_be_meant(client: TestClient, larch: str) -> None:
    begun = client.put("/api/tubs/larch/visits/v", json={"minutes": 90})
    assert begun.status_code == 200 and begun.json()["phase"] == "running"
    step = begun.json()["step"]
    for _ in range(2):
        told = client.put("/api/tubs/larch/visits/v/told/a", json={"what": "done", "step": step})
        assert told.status_code == 200 and told.json()["last"] == "a"
    assert client.put("/api/tubs/larch/visits/v/told/b", json={"what": "done", "step": step}).status_code == 409
    assert client.put("/api/tubs/larch/visits/v/told/c", json={"what": "done", "step": "x"}).status_code == 422
    assert client.put("/api/tubs/larch/visits/v/told/d", json={"what": "dance"}).status_code == 422
    assert client.get("/api/tubs/larch/visits/none").status_code == 404
    assert client.put("/api/tubs/larch/visits/w", json={}).status_code == 409
