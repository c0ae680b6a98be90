"""The calendar file, byte by byte against the rules of RFC 5545, read here without the library that writes it.

Lines end with CR LF and are folded at 75 octets (3.1); commas, semicolons, backslashes and line ends of a text are
escaped (3.3.11); UTC times end with Z (3.3.5); PRODID and VERSION are needed (3.6), UID and DTSTAMP in each event
(3.6.1); a day has VALUE=DATE and its end is the next day (3.6.1).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone

import icalendar
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tubwater.reports.calendar import calendar_file, event_uid
from tubwater.services.due import Due, DueKind
from tubwater.tub import Reason

ZONE = timezone(timedelta(hours=-5))
NOW = datetime(2026, 11, 25, 21, tzinfo=ZONE)  # the next day in UTC
TEST = Due(
    *(DueKind.TEST, "bromine", NOW + timedelta(hours=20), False, 0.0),
    Reason("no-longer-sure", {"quantity": "bromine"}),
    whole_day=False,
)
RINSE = Due(
    *(DueKind.CARE, "rinse-filter", NOW - timedelta(days=3), True, 3.0),
    Reason("care-due", {"days": 7.0}),
    every=7.0,
)
WATER = Due(*(DueKind.REFILL, "water", NOW + timedelta(days=30), False, 0.0), Reason("due-visit", {"days": 30.0}))
DUES = (TEST, RINSE, WATER)
CONTROL = re.compile(rb"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")


def unfolded(content: bytes) -> list[str]:
    """The content lines, by section 3.1."""
    return content.replace(b"\r\n ", b"").decode("utf-8").split("\r\n")[:-1]


def events(content: bytes) -> Iterator[dict[str, str]]:
    """The properties of each event, parameters kept in the name."""
    lines = unfolded(content)
    for begin, line in enumerate(lines):
        if line == "BEGIN:VEVENT":
            end = lines.index("END:VEVENT", begin)
            yield dict(line.split(":", 1) for line in lines[begin + 1 : end])  # type: ignore[misc]


def plain(text: str) -> str:
    """A text value without its escapes, by section 3.3.11."""
    found = {"\\n": "\n", "\\N": "\n", "\\,": ",", "\\;": ";", "\\\\": "\\"}
    return re.sub(r"\\.", lambda escaped: found[escaped[0]], text)


def found(*dues: Due, name: str = "the tub", now: datetime = NOW) -> list[dict[str, str]]:
    return list(events(calendar_file("larch", name, dues, now)))


@settings(deadline=None, max_examples=60)
@given(st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs", "Zl", "Zp"]), min_size=1, max_size=200))
def test_lines_end_and_fold_as_they_must_whatever_a_tub_is_called(name: str) -> None:
    content = calendar_file("larch", name, DUES, NOW)
    assert content.endswith(b"\r\n") and b"\n" not in content.replace(b"\r\n", b"")
    assert all(len(line) <= 75 for line in content.split(b"\r\n"))
    assert not CONTROL.search(content)
    for line in unfolded(content):
        assert re.match(r"[A-Za-z0-9-]+(;[A-Za-z0-9-]+=[^:]*)*:", line), line
    assert {plain(event["SUMMARY"]).startswith(f"{name}: ") for event in events(content)} == {True}


def test_a_comma_a_semicolon_a_backslash_and_a_line_end_are_escaped() -> None:
    (event,) = found(RINSE, name="A; b, c\\d")
    assert event["SUMMARY"].startswith("A\\; b\\, c\\\\d: ")
    assert "\\n" in event["DESCRIPTION"] and "\n" not in event["DESCRIPTION"]


def test_the_file_has_what_every_calendar_needs() -> None:
    lines = unfolded(calendar_file("larch", "the tub", DUES, NOW))
    assert lines[0] == "BEGIN:VCALENDAR" and lines[-1] == "END:VCALENDAR"
    assert lines.count("VERSION:2.0") == 1 and sum(line.startswith("PRODID:") for line in lines) == 1
    assert not any(line.startswith(("BEGIN:VTIMEZONE", "METHOD")) or "TZID" in line for line in lines)
    stack: list[str] = []
    for line in lines:
        kind, _, name = line.partition(":")
        if kind == "BEGIN":
            stack.append(name)
        elif kind == "END":
            assert stack.pop() == name
    assert stack == []


def test_each_event_has_one_name_and_one_stamp_in_utc() -> None:
    told = found(*DUES)
    assert len({event["UID"] for event in told}) == len(DUES)
    assert {event["DTSTAMP"] for event in told} == {"20261126T020000Z"}


def test_an_hour_is_an_instant_in_utc() -> None:
    (event,) = found(TEST)
    assert (event["DTSTART"], event["DTEND"]) == ("20261126T220000Z", "20261126T223000Z")


def test_a_day_is_the_keepers_day_and_ends_before_the_next() -> None:
    (event,) = found(WATER)
    assert (event["DTSTART;VALUE=DATE"], event["DTEND;VALUE=DATE"]) == ("20261225", "20261226")
    assert event["TRANSP"] == "TRANSPARENT"


def test_what_is_overdue_stands_on_today_and_says_since_when() -> None:
    (event,) = found(RINSE)
    assert event["DTSTART;VALUE=DATE"] == "20261125"
    assert plain(event["DESCRIPTION"]).startswith("Overdue since 22 Nov 2026.")
    (now,) = found(replace(TEST, at=NOW - timedelta(hours=2), now=True, overdue=2 / 24))
    assert now["DTSTART;VALUE=DATE"] == "20261125"


@pytest.mark.parametrize(("days", "count"), [(20.0, 3), (6.0, None)])
def test_what_is_done_every_week_repeats_as_far_as_the_file_looks(days: float, count: int | None) -> None:
    (event,) = events(calendar_file("larch", "the tub", [RINSE], NOW, days))
    rule = dict(part.split("=") for part in event["RRULE"].split(";")) if "RRULE" in event else {}
    assert rule == ({"FREQ": "DAILY", "INTERVAL": "7", "COUNT": str(count)} if count else {})


def test_a_thing_keeps_its_name_when_its_day_moves_and_shares_it_with_none() -> None:
    moved = replace(RINSE, at=RINSE.at + timedelta(days=9))
    assert event_uid("larch", RINSE) == event_uid("larch", moved)
    assert len({event_uid(tub, due) for tub in ("larch", "rowan") for due in DUES}) == 6
    (before,), (after,) = found(RINSE), found(moved, now=NOW + timedelta(days=1))
    assert before["UID"] == after["UID"] and int(before["SEQUENCE"]) < int(after["SEQUENCE"]) < 2**31


def test_the_same_answer_gives_the_same_bytes() -> None:
    assert calendar_file("larch", "the tub", DUES, NOW) == calendar_file("larch", "the tub", DUES, NOW)


def test_another_reader_understands_it() -> None:
    """The library that wrote it, as a reader: only that it finds nothing wrong."""
    calendar = icalendar.Calendar.from_ical(calendar_file("larch", "the tub", DUES, NOW))
    assert [event.start for event in calendar.events] == [
        datetime(2026, 11, 26, 22, tzinfo=UTC),
        date(2026, 11, 25),
        date(2026, 12, 25),
    ]
    assert not any(event.errors for event in calendar.events)
