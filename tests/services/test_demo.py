"""The invented scenario shows what the pages of the record are for."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

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
