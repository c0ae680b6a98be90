"""The use cases over a logbook, on the store in memory."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from tubwater.errors import Conflict, InputError, UnknownEntry
from tubwater.services.keeping import Keeping
from tubwater.services.memory import MemoryEntries, MemorySnapshots, RandomNames
from tubwater.services.ports import Kind
from tubwater.tub import Dosed, Plan, Soaked, VerdictKind
from tubwater.tub.data import as_data, from_data

NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
BODY = {
    "tub": {"name": "the tub by the larch", "volume": "1300 L", "sanitizer": "bromine"},
    "product": [
        {"name": "shock", "substance": "potassium monopersulfate", "strength": "43 %", "scoop": "20 g"},
        {"name": "pH down", "substance": "sodium bisulfate", "strength": "99 %", "scales": True},
    ],
}
GOOD = {"method": "photometer", "bromine": 4.5, "pH": 7.5}


class Clock:
    """A clock that is set by hand."""

    def __init__(self, now: datetime) -> None:
        self.time = now

    def now(self) -> datetime:
        return self.time


@pytest.fixture
def clock() -> Clock:
    return Clock(NOW)


@pytest.fixture
def keeping(clock: Clock) -> Keeping:
    return Keeping(MemoryEntries(), MemorySnapshots(), clock, RandomNames())


@pytest.fixture
def tub(keeping: Keeping) -> str:
    return keeping.add_tub(BODY)


def test_a_tub_is_read_back_as_it_was_described(keeping: Keeping, tub: str) -> None:
    file = keeping.file(tub)
    assert (file.tub.name, file.tub.litres, len(file.shelf.products)) == ("the tub by the larch", 1300.0, 2)


def test_what_happened_stands_in_order_of_its_time(keeping: Keeping, tub: str) -> None:
    keeping.record(tub, Kind.DOSED, {"product": "shock", "measures": 1, "at": "2026-11-25T11:00:00+00:00"})
    keeping.record(tub, Kind.TEST, {"method": "strip", "bromine": 3, "at": "2026-11-25T10:00:00+00:00"})
    assert [isinstance(e, Dosed) for e in keeping.file(tub).events] == [False, True]


def test_a_repeat_is_harmless_and_another_content_under_the_same_name_is_a_conflict(keeping: Keeping, tub: str) -> None:
    first = keeping.record(tub, Kind.SOAKED, {"people": 2, "lasted": "30 min"}, id="a")
    again = keeping.record(tub, Kind.SOAKED, {"people": 2, "lasted": "30 min"}, id="a")
    assert again.stored.repeated and again.stored.entry == first.stored.entry
    with pytest.raises(Conflict):
        keeping.record(tub, Kind.SOAKED, {"people": 3, "lasted": "30 min"}, id="a")
    assert len(keeping.history(tub)) == 1


def test_a_correction_changes_what_stands_and_keeps_what_was_entered(keeping: Keeping, tub: str) -> None:
    keeping.record(tub, Kind.SOAKED, {"people": 2, "lasted": "30 min"}, id="a")
    keeping.correct(tub, "a", {"people": 4, "lasted": "30 min"})
    line = keeping.line(tub, "a")
    assert (line.body["people"], line.stored.entry.body["people"]) == (4, 2)
    event = keeping.file(tub).events[0]
    assert isinstance(event, Soaked) and event.people == 4


def test_a_withdrawn_entry_counts_for_nothing_and_is_still_there(keeping: Keeping, tub: str) -> None:
    keeping.record(tub, Kind.SOAKED, {"people": 2}, id="a")
    keeping.withdraw(tub, "a", "another tub")
    assert keeping.file(tub).events == () and not keeping.line(tub, "a").stands


def test_what_cannot_be_meant_is_not_kept(keeping: Keeping, tub: str) -> None:
    with pytest.raises(InputError) as told:
        keeping.record(tub, Kind.TEST, {"method": "strip", "pH": 14, "bromine": -1})
    assert len(told.value.problems) == 2 and keeping.history(tub) == ()


def test_two_who_change_the_shelf_do_not_overwrite_each_other(keeping: Keeping, tub: str) -> None:
    seen = keeping.newest(tub, Kind.SHELF)
    assert seen is not None
    keeping.describe(tub, Kind.SHELF, {"product": BODY["product"][:1]}, seen.entry.id)
    with pytest.raises(Conflict):
        keeping.describe(tub, Kind.SHELF, {"product": []}, seen.entry.id)


def test_an_unknown_tub_is_said(keeping: Keeping) -> None:
    with pytest.raises(UnknownEntry):
        keeping.verdict("nowhere")


def test_a_good_test_and_a_clear_drain_make_the_tub_fit_until_the_test_is_old(
    keeping: Keeping, tub: str, clock: Clock
) -> None:
    keeping.record(tub, Kind.TEST, GOOD)
    keeping.record(tub, Kind.NOTICED, {"clarity": "clear"})
    clock.time += timedelta(minutes=5)
    assert keeping.verdict(tub).kind is VerdictKind.FIT
    clock.time += timedelta(days=4)
    assert keeping.verdict(tub).kind is not VerdictKind.FIT


def test_a_plan_goes_through_plain_data_and_back(keeping: Keeping, tub: str) -> None:
    keeping.record(tub, Kind.TEST, {"method": "strip", "bromine": 1, "pH": 7.8, "total_alkalinity": 120})
    plan = keeping.plan(tub)
    assert from_data(Plan, as_data(plan)) == plan
