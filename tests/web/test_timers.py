"""The timers of the pages: the short one before a strip is read, and what a phone does when a wait is over."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

from playwright.sync_api import Page, expect

from tubwater.services.keeping import Keeping
from tubwater.services.ports import Kind
from web.beside import HIGH_PH, begin, later, press, ready, walk
from web.harness import Clock, hold, violations

# The phone of these tests writes down what shakes it and what sounds.
HEARD = """
() => {
  window.heard = { shaken: 0, tones: 0 };
  Object.defineProperty(navigator, "vibrate", { value: () => { window.heard.shaken += 1; return true; } });
  const start = OscillatorNode.prototype.start;
  OscillatorNode.prototype.start = function (...at) { window.heard.tones += 1; return start.apply(this, at); };
}
"""


def test_a_strip_is_read_when_its_seconds_are_over(open_page: Callable[..., Page], clock: Clock, tub: str) -> None:
    page = open_page("/")
    page.add_init_script(f"({HEARD})()")
    hold(page, clock.time)
    page.goto(f"/tubs/{tub}/test?method=strip")
    strip = page.locator(".strip")
    seconds = int(strip.get_attribute("data-seconds") or "0")
    assert seconds > 0
    strip.get_by_role("button").click()
    expect(strip.get_by_role("button")).to_be_disabled()
    later(page, clock, seconds / 60.0)
    expect(strip.locator(".num")).to_have_text("0")
    expect(strip.locator("[data-ready]")).to_have_text(strip.locator("[data-ready]").get_attribute("data-ready") or "-")
    page.wait_for_function("() => window.heard.shaken === 1")


def test_a_phone_that_is_awake_shakes_and_sounds_once_when_a_wait_is_over(
    open_page: Callable[..., Page], keeping: Keeping, clock: Clock, tub: str
) -> None:
    keeping.record(tub, Kind.TEST, HIGH_PH)
    keeping.record(tub, Kind.NOTICED, {"clarity": "clear"})
    page = open_page("/")
    page.add_init_script(f"({HEARD})()")
    hold(page, clock.time)
    begin(page)
    walk(page, clock, "dose")
    press(page, "done")
    ready(page)  # from here on the page stays as it is: what was shown from the phone's own store is replaced
    page.locator("[data-alarm]").click()
    expect(page.locator("[data-alarm]")).to_have_attribute("aria-pressed", "true")
    page.wait_for_function("() => window.heard.tones === 1")  # so that it is known how it sounds
    later(page, clock, 20)
    expect(page.locator("[data-on] button")).to_be_enabled()
    page.wait_for_function("() => window.heard.shaken === 1 && window.heard.tones === 4")


def test_a_step_that_runs_for_minutes_has_a_timer_which_a_tap_starts_and_a_reload_does_not_stop(
    open_page: Callable[..., Page], keeping: Keeping, clock: Clock, tub: str
) -> None:
    keeping.record(tub, Kind.TEST, {"method": "photometer", "bromine": 4.5, "pH": 7.5})
    keeping.record(tub, Kind.NOTICED, {"clarity": "clear"})
    page = open_page("/")
    page.add_init_script(f"({HEARD})()")
    hold(page, clock.time)
    begin(page)
    assert walk(page, clock, "feeder") == "feeder"
    in_all = "In all, with what is in it now."
    expect(page.get_by_text(in_all)).to_be_visible()
    press(page, "done")
    press(page, "done")  # the suction covers, which nobody looked at before
    run, count = page.locator(".run"), page.locator("[data-count]")
    expect(page.locator("h1")).to_contain_text("Leave the cover open for 10 minutes")
    expect(count).to_be_hidden()
    run.get_by_role("button", name="Start the timer: 10 minutes").click()
    expect(count).to_have_text("10:00")
    expect(page.locator("[data-until]")).to_have_text(f"Until {clock.time + timedelta(minutes=10):%H:%M}.")
    assert violations(page) == []
    later(page, clock, 4)
    page.reload()
    expect(count).to_have_text("06:00")
    later(page, clock, 6)
    expect(page.locator("[data-until]")).to_have_text("Time is up: 10 minutes.")
    page.wait_for_function("() => window.heard.shaken === 1")
    press(page, "done")
    expect(page.locator("[data-count]")).to_have_count(0)
