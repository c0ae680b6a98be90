"""The invented scenario shows what the pages of the record are for."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import pytest

from tubwater.advice.care_dates import care_dates
from tubwater.services.demo import fill_demo
from tubwater.services.keeping import Keeping
from tubwater.services.memory import MemoryEntries, MemorySnapshots, RandomNames
from tubwater.services.memory_kits import MemoryKits
from tubwater.services.record import CheckState, Record
from tubwater.services.recorded import record_of_tub
from tubwater.tub import Tested as Readings

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)


class Clock:
    def now(self) -> datetime:
        return NOW


@pytest.fixture(scope="module")
def keeping() -> Keeping:
    found = Keeping(MemoryEntries(), MemorySnapshots(), Clock(), RandomNames())
    assert fill_demo(found) == ("larch", "rowan", "alder")
    return found


@pytest.fixture(scope="module")
def record(keeping: Keeping) -> Record:
    return record_of_tub(keeping, MemoryKits(), "rowan", NOW.date() - timedelta(days=20), NOW.date(), UTC)


def test_the_business_tub_has_a_repair_that_a_test_ended_a_sample_and_signed_days(record: Record) -> None:
    (closure,) = record.closures
    assert closure.reason.kind == "closed-repair" and closure.settled and closure.end and closure.end > closure.settled
    (sample,) = record.samples
    assert len(sample.counts) == 5 and record.persons and record.hours and record.sources
    assert sum(bool(sheet.signatures) for sheet in record.days) >= 5


def test_nothing_of_it_came_late_and_something_of_a_day_is_missing(record: Record) -> None:
    assert not any(noted.late for sheet in record.days for noted in sheet.entries)
    assert any(sheet.missing for sheet in record.days)


def test_a_reading_of_a_guest_is_shown_and_takes_the_place_of_no_check(record: Record) -> None:
    sheet = record.days[-2]
    (guest,) = [n.said for n in sheet.entries if isinstance(n.said, Readings) and n.said.guest]
    tests = [check for check in sheet.checks if check.key == "each-day"]
    assert {check.made for check in tests}.isdisjoint({guest.at})
    assert all(check.state is CheckState.DONE for check in sheet.checks if check.key in ("field-scale", "each-day"))


def test_the_home_tub_has_half_a_year_behind_it(keeping: Keeping) -> None:
    events = keeping.file("larch").events
    assert (NOW - min(e.at for e in events)).days > 180 and len(events) > 100


def filled(now: datetime) -> Keeping:
    found = Keeping(MemoryEntries(), MemorySnapshots(), SimpleNamespace(now=lambda: now), RandomNames())
    fill_demo(found)
    return found


@pytest.mark.parametrize("hour", [0, 7, 12, 23])
@pytest.mark.parametrize(("tub", "most"), [("larch", 1), ("rowan", 0)])
def test_its_keepers_are_hardly_behind_with_the_care(hour: int, tub: str, most: int) -> None:
    now = NOW.replace(hour=hour)
    file = filled(now).file(tub)
    dates = care_dates(file.tub, file.events, now)
    late = [found for found in dates if found.due <= now]
    assert len(late) <= most and all(now - found.due < timedelta(days=1) for found in late)
    assert all(found.last for found in dates if found.task.interval_days < 20)


def test_the_same_moment_gives_the_same_scenario(keeping: Keeping) -> None:
    again = filled(NOW)
    for tub in ("larch", "rowan", "alder"):
        assert [s.entry for s in again.entries(tub)] == [s.entry for s in keeping.entries(tub)]
