"""The record: from a file, from the logbook, signed for good, and what laboratories find keeps people out."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tubwater.errors import Conflict, InputError, UnknownEntry
from tubwater.reports.record_words import record_words
from tubwater.services.document import take_document, to_document
from tubwater.services.keeping import Keeping
from tubwater.services.looks import standing_signs
from tubwater.services.memory import MemoryEntries, MemorySnapshots, RandomNames
from tubwater.services.memory_kits import MemoryKits
from tubwater.services.ports import Kind, Source
from tubwater.services.record import CheckState, Record, record_of_file
from tubwater.services.recorded import record_of_tub, sign_day
from tubwater.services.tubfile import parse_table
from tubwater.tub import Sign, Signed, VerdictKind
from tubwater.tub import Tested as Readings

START = datetime(2026, 11, 20, 15, tzinfo=UTC)
DAY = date(2026, 11, 20)
TUB = {"name": "Rowan", "volume": "1100 L", "sanitizer": "bromine", "setting": "let", "guideline": "uk-business"}
GOOD = {"method": "photometer", "scale": "as Br2", "bromine": 5, "pH": 7.4}


class Clock:
    """A clock that is set by hand."""

    def __init__(self) -> None:
        self.time = START

    def now(self) -> datetime:
        return self.time


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def keeping(clock: Clock) -> Keeping:
    found = Keeping(MemoryEntries(), MemorySnapshots(), clock, RandomNames())
    clock.time -= timedelta(days=3)
    found.add_tub({"tub": TUB}, id="rowan")
    clock.time += timedelta(days=3)
    return found


def record(keeping: Keeping, first: date | None = None, last: date | None = None, **more: Any) -> Record:
    return record_of_tub(keeping, MemoryKits(), "rowan", first, last, UTC, **more)


def note(keeping: Keeping, kind: Kind, hours: float, body: dict[str, Any], id: str = "", actor: str = "") -> None:
    at = (START - timedelta(hours=hours)).isoformat()
    keeping.record("rowan", kind, {**body, "at": at}, Source(actor), id)


def states(found: Record) -> dict[str, CheckState]:
    return {check.key: check.state for check in found.days[-1].checks}


def parsed(**tables: list[dict[str, Any]]) -> Any:
    return parse_table({"tub": TUB, **tables}, START)


# What the record holds


def test_an_entry_tells_who_made_it_and_whether_it_came_late(keeping: Keeping) -> None:
    note(keeping, Kind.TEST, 3, GOOD, actor="a")
    note(keeping, Kind.TEST, 30, GOOD, actor="b")
    found = record(keeping, DAY - timedelta(days=1), DAY, called=lambda actor, device: f"name of {actor}")
    rows = [(n.by, n.late) for sheet in found.days for n in sheet.entries]
    assert rows == [("name of b", True), ("name of a", False)]


def test_a_correction_shows_what_stood_first_and_what_was_withdrawn_stays(keeping: Keeping) -> None:
    note(keeping, Kind.TEST, 3, GOOD, "one")
    note(keeping, Kind.TEST, 2, GOOD, "two")
    keeping.correct("rowan", "one", {**GOOD, "bromine": 4})
    keeping.withdraw("rowan", "two")
    one, two = record(keeping).days[0].entries
    assert one.said.readings[0].value == 4 and one.first.readings[0].value == 5  # type: ignore[union-attr]
    assert two.withdrawn


def test_what_is_written_down_stops_being_missing(keeping: Keeping) -> None:
    note(keeping, Kind.TEST, 3, GOOD)
    before = states(record(keeping))
    note(keeping, Kind.APPOINTED, 2, {"name": "Robin", "qualification": "a course"})
    note(keeping, Kind.SOURCE_WATER, 2, {"iron": "0.1 mg/L"})
    note(keeping, Kind.TEST, 1, {"method": "thermometer", "temperature": 38})
    after = states(record(keeping))
    for key in ("field-person", "field-competence", "field-source-water"):
        assert (before[key], after[key]) == (CheckState.MISSING, CheckState.DONE)
    assert (before["field-temperature"], after["field-temperature"]) == (CheckState.TO_COME, CheckState.DONE)
    assert after["field-reagents"] is CheckState.MISSING  # no pack of the photometer with a date


def test_how_a_test_was_sampled_is_told_with_it(keeping: Keeping) -> None:
    note(keeping, Kind.TEST, 3, GOOD)
    assert states(record(keeping))["field-sampling"] is CheckState.MISSING
    keeping.withdraw("rowan", keeping.history("rowan")[0].stored.entry.id)
    note(keeping, Kind.TEST, 2, {**GOOD, "jets": "no", "bathers": 0})
    assert states(record(keeping))["field-sampling"] is CheckState.DONE
    with pytest.raises(InputError, match="bathers"):
        note(keeping, Kind.TEST, 1, {**GOOD, "bathers": -1})


def test_a_day_is_that_of_the_place_of_the_tub(keeping: Keeping) -> None:
    note(keeping, Kind.TEST, 0.5, GOOD)
    there = record_of_tub(keeping, MemoryKits(), "rowan", zone=ZoneInfo("Pacific/Auckland"))
    assert there.last == DAY + timedelta(days=1) and len(there.days[0].entries) == 1


def test_opening_hours_over_midnight_end_on_the_next_day(keeping: Keeping) -> None:
    note(keeping, Kind.OPENING_HOURS, 10, {"opens": "18:00", "closes": "02:00"})
    day = record(keeping).days[0].day
    assert day.opens and day.closes and day.closes - day.opens == timedelta(hours=8)


@pytest.mark.parametrize(
    ("first", "last", "field"),
    [
        (None, DAY + timedelta(days=1), "until"),
        (DAY, DAY - timedelta(days=1), "from"),
        (date(2020, 1, 1), date(2020, 2, 1), "until"),
    ],
)
def test_days_that_cannot_be_meant_are_refused(
    keeping: Keeping, first: date | None, last: date | None, field: str
) -> None:
    with pytest.raises(InputError, match=field):
        record(keeping, first, last)


def test_a_span_begins_with_the_logbook(keeping: Keeping) -> None:
    note(keeping, Kind.TEST, 30, GOOD)
    found = record(keeping, date(2020, 1, 1), DAY)
    assert (found.first, found.last, len(found.days)) == (DAY - timedelta(days=3), DAY, 4)  # described three days ago


def test_a_file_has_the_same_record() -> None:
    at = START - timedelta(hours=2)
    file = parsed(test=[{**GOOD, "at": at}], appointed=[{"name": "Robin", "at": at}], signed=[])
    found = record_of_file(file, START)
    assert states(found)["field-person"] is CheckState.DONE and len(found.days[0].entries) == 2


# Laboratories


def lab(hours: float, **counts: Any) -> dict[str, Any]:
    return {"laboratory": "A", "at": START - timedelta(hours=hours), **counts}


def signs(*samples: dict[str, Any], looks: tuple[float, ...] = ()) -> frozenset[Sign]:
    noticed = [{"clarity": "clear", "at": START - timedelta(hours=hours)} for hours in looks]
    return standing_signs(parsed(sampled=list(samples), noticed=noticed).events)


@pytest.mark.parametrize("count", ["not found", "<10", 0, "<100"])
def test_a_result_that_shows_nothing_keeps_nobody_out(count: Any) -> None:
    assert signs(lab(3, legionella=count)) == frozenset()


@pytest.mark.parametrize("count", [1, "120", ">300", "100,5"])
def test_any_legionella_keeps_people_out_whatever_a_look_says(count: Any) -> None:
    assert signs(lab(30, legionella=count), looks=(40, 20, 1)) == {Sign.LEGIONELLA}


def test_a_clear_sample_and_a_look_after_it_settle_the_result() -> None:
    found, clear = lab(30, legionella=50), lab(5, legionella="not found")
    assert signs(found, lab(5, e_coli=0), looks=(1,)) == {Sign.LEGIONELLA}  # looked for something else
    assert signs(found, clear, looks=(10,)) == {Sign.LEGIONELLA}  # nobody looked since
    assert signs(found, clear, looks=(1,)) == frozenset()


def test_a_result_leaves_what_stood_before() -> None:
    before = {"clarity": "clear", "signs": ["vomit"], "at": START - timedelta(hours=9)}
    file = parsed(sampled=[lab(3, e_coli=4)], noticed=[before])
    assert standing_signs(file.events) == {Sign.VOMIT, Sign.GERMS}
    assert standing_signs(file.entered) == {Sign.VOMIT}


def test_the_limit_is_that_of_the_guideline() -> None:
    assert signs(lab(3, pseudomonas_aeruginosa=9)) == frozenset()  # British: under 10
    file = parse_table({"tub": {**TUB, "guideline": "us-public"}, "sampled": [lab(3, pseudomonas_aeruginosa=9)]}, START)
    assert standing_signs(file.events) == {Sign.GERMS}


@pytest.mark.parametrize(
    ("table", "row", "field"),
    [
        ("sampled", {"legionella": "some", "laboratory": "A"}, "legionella"),
        ("sampled", {"legionella": -1, "laboratory": "A"}, "legionella"),
        ("sampled", {"legionella": 1}, "laboratory"),
        (
            "sampled",
            {"laboratory": "A", "taken": "2026-11-20T14:00:00+00:00", "at": "2026-11-20T13:00:00+00:00"},
            "taken",
        ),
        ("sampled", {"laboratory": "A", "taken": "0001-01-01T00:00:00+14:00"}, "taken"),
        ("appointed", {"qualification": "x"}, "name"),
        ("source_water", {"report": "7"}, "source_water"),
        ("source_water", {"iron": "0.1"}, "iron"),
        ("opening_hours", {"opens": "9 o'clock", "closes": "21:00"}, "opens"),
        ("opening_hours", {"opens": "09:00"}, "closes"),
        ("signed", {"day": "2026-11-20"}, "name"),
        ("signed", {"day": "2027-01-01", "name": "R"}, "day"),
        ("signed", {"day": "2026-11-20", "name": "R\u0000"}, "name"),
        ("signed", {"day": "2026-11-20", "name": "R", "bathers": "many"}, "bathers"),
    ],
)
def test_what_cannot_be_meant_is_told_by_its_field(table: str, row: dict[str, Any], field: str) -> None:
    with pytest.raises(InputError, match=field):
        parsed(**{table: [row]})


# Signing


def test_a_signature_stands_with_who_entered_it_and_when(keeping: Keeping) -> None:
    sign_day(keeping, "rowan", {"day": "2026-11-20", "name": "Robin", "bathers": 4}, Source("an account"), "sig", UTC)
    sheet = record(keeping, called=lambda actor, device: actor).days[0]
    (one,) = sheet.signatures
    assert (one.signed.name, one.by, one.after, sheet.bathers) == ("Robin", "an account", 0, 4)
    assert states(record(keeping))["field-signed"] is CheckState.DONE
    assert states(record(keeping))["bathers"] is CheckState.DONE


def test_what_comes_after_a_signature_is_counted(keeping: Keeping, clock: Clock) -> None:
    note(keeping, Kind.TEST, 3, GOOD, "one")
    sign_day(keeping, "rowan", {"day": "2026-11-20", "name": "Robin"}, zone=UTC)
    clock.time += timedelta(minutes=5)
    note(keeping, Kind.TEST, 2, GOOD)
    keeping.correct("rowan", "one", {**GOOD, "pH": 7.5})
    assert record(keeping).days[0].signatures[0].after == 2


def test_signing_twice_with_one_name_counts_once_and_a_second_signature_stands_beside(
    keeping: Keeping, clock: Clock
) -> None:
    for _ in range(2):
        sign_day(keeping, "rowan", {"day": "2026-11-20", "name": "Robin"}, id="sig", zone=UTC)
        clock.time += timedelta(minutes=5)
    sign_day(keeping, "rowan", {"day": "2026-11-20", "name": "Kim"}, id="other", zone=UTC)
    assert [one.signed.name for one in record(keeping).days[0].signatures] == ["Robin", "Kim"]
    with pytest.raises(Conflict):
        sign_day(keeping, "rowan", {"day": "2026-11-20", "name": "Kim"}, id="sig", zone=UTC)


def test_what_a_guest_reads_counts_for_the_water_and_takes_the_place_of_no_check(keeping: Keeping) -> None:
    note(keeping, Kind.TEST, 3, GOOD)
    note(keeping, Kind.TEST, 1, {"method": "strip", "bromine": 5, "pH": 7.4, "guest": True})
    found = record(keeping)
    tests = [check.state for check in found.days[0].checks if check.key == "each-day"]
    assert tests == [CheckState.DONE, CheckState.TO_COME] and states(found)["field-scale"] is CheckState.DONE
    assert sum(isinstance(event, Readings) for event in keeping.file("rowan").events) == 2
    lines = record_words(found)["days"][0]["entries"]["rows"]
    assert ["read by a guest" in row[1] for row in lines] == [False, True]


# Closed by order or for repair


def test_a_closure_by_order_keeps_people_out_until_it_may_open_and_is_closed_by_the_test_after_it(
    keeping: Keeping,
) -> None:
    note(keeping, Kind.TEST, 9, GOOD)
    note(keeping, Kind.NOTICED, 9, {"clarity": "clear"})
    note(keeping, Kind.CLOSED, 8, {"why": "order", "by": "the district", "reason": "records missing"})
    note(keeping, Kind.TEST, 7, GOOD)
    note(keeping, Kind.NOTICED, 7, {"clarity": "clear"})
    shut = keeping.verdict("rowan")
    assert shut.kind is VerdictKind.KEEP_OUT and shut.reasons[0].kind == "sign-closed"
    plan = keeping.plan("rowan")
    assert plan.situation == "in-use" and "closure-lifted" in {r.kind for r in plan.fit_when}
    note(keeping, Kind.REOPENED, 2, {"reason": "records shown"})
    assert Sign.CLOSED not in keeping.file("rowan").events[-1].signs  # type: ignore[union-attr]
    (before,) = record(keeping).closures
    assert (before.settled, before.end) == (START - timedelta(hours=2), None)
    note(keeping, Kind.TEST, 1, GOOD)
    note(keeping, Kind.NOTICED, 1, {"clarity": "clear"})
    (closure,) = record(keeping).closures
    assert (closure.reason.kind, closure.how) == ("closed-order", "records shown")
    assert closure.reason.values == {"reason": "records missing", "by": "the district"}
    assert (closure.start, closure.end) == (START - timedelta(hours=8), START - timedelta(hours=1))
    assert keeping.verdict("rowan").kind is not VerdictKind.KEEP_OUT


def test_what_is_read_while_the_oxidizer_works_settles_no_closure(keeping: Keeping) -> None:
    """The record counts a reading where the verdict counts it."""
    product = {"name": "oxidizer", "substance": "monopersulfate", "strength": "88 %"}
    shelf = keeping.newest("rowan", Kind.SHELF)
    assert shelf is not None
    keeping.describe("rowan", Kind.SHELF, {"product": [product]}, shelf.entry.id)
    note(keeping, Kind.NOTICED, 9, {"clarity": "clear"})
    note(keeping, Kind.TEST, 9, {**GOOD, "bromine": 1})
    note(keeping, Kind.DOSED, 8, {"product": "oxidizer", "amount": "20 g"})
    note(keeping, Kind.TEST, 7.75, GOOD)
    (closure,) = record(keeping).closures
    assert closure.end is None
    assert "reading-in-window" in {r.kind for r in keeping.verdict("rowan").reasons}
    note(keeping, Kind.TEST, 1, GOOD)
    (closure,) = record(keeping).closures
    assert closure.end == START - timedelta(hours=1)


def test_a_look_neither_tells_nor_ends_a_closure_for_repair(keeping: Keeping) -> None:
    note(keeping, Kind.CLOSED, 5, {"why": "repair", "reason": "pump"})
    note(keeping, Kind.NOTICED, 3, {"clarity": "clear", "signs": []})
    assert standing_signs(keeping.file("rowan").events) == frozenset()
    assert keeping.verdict("rowan").kind is VerdictKind.KEEP_OUT
    with pytest.raises(InputError, match="signs"):
        note(keeping, Kind.NOTICED, 2, {"clarity": "clear", "signs": ["closed"]})
    (closure,) = record(keeping).closures
    assert closure.reason.kind == "closed-repair" and closure.settled is None


@pytest.mark.parametrize("body", [{"why": "order"}, {"why": "mood", "reason": "x"}, {"reason": "x" * 201}])
def test_a_closure_says_why(keeping: Keeping, body: dict[str, Any]) -> None:
    with pytest.raises(InputError, match=r"why|reason"):
        note(keeping, Kind.CLOSED, 2, body)


def test_a_withdrawn_closure_closes_nothing(keeping: Keeping) -> None:
    note(keeping, Kind.CLOSED, 5, {"why": "repair", "reason": "pump"}, "shut")
    keeping.withdraw("rowan", "shut")
    assert record(keeping).closures == ()


@pytest.mark.parametrize("day", ["2026-11-21", "2026-11-01", "soon", ""])
def test_a_day_that_nobody_can_sign_is_refused(keeping: Keeping, day: str) -> None:
    with pytest.raises(InputError, match="day"):
        sign_day(keeping, "rowan", {"day": day, "name": "Robin"}, zone=UTC)
    assert not any(s.entry.kind is Kind.SIGNED for s in keeping.entries("rowan"))


def test_a_signature_is_neither_corrected_nor_withdrawn(keeping: Keeping) -> None:
    sign_day(keeping, "rowan", {"day": "2026-11-20", "name": "Robin"}, id="sig", zone=UTC)
    with pytest.raises(UnknownEntry):
        keeping.withdraw("rowan", "sig")
    with pytest.raises(UnknownEntry):
        keeping.correct("rowan", "sig", {"day": "2026-11-20", "name": "Kim"})


_DONE = st.sampled_from(["test", "withdraw", "correct", "sign", "look", "later"])


@settings(deadline=None, max_examples=40)
@given(st.lists(_DONE, max_size=14))
def test_signatures_never_vanish(done: list[str]) -> None:
    clock = Clock()
    keeping = Keeping(MemoryEntries(), MemorySnapshots(), clock, RandomNames())
    keeping.add_tub({"tub": TUB}, id="rowan")
    made: list[str] = []
    for number, what in enumerate(done):
        clock.time += timedelta(minutes=7)
        lines = [line.stored.entry.id for line in keeping.history("rowan") if line.stands]
        if what == "sign":
            made.append(f"Robin {number}")
            sign_day(keeping, "rowan", {"day": "2026-11-20", "name": made[-1]}, zone=UTC)
        elif what == "withdraw" and lines:
            keeping.withdraw("rowan", lines[0])
        elif what == "correct" and lines and keeping.line("rowan", lines[-1]).stored.entry.kind is Kind.TEST:
            keeping.correct("rowan", lines[-1], {**GOOD, "pH": 7.2})
        elif what in ("test", "look"):
            keeping.record("rowan", *((Kind.TEST, GOOD) if what == "test" else (Kind.NOTICED, {"clarity": "clear"})))
        shown = [one.signed.name for one in record(keeping).days[0].signatures]
        assert shown == made
        assert [paper.name for paper in keeping.file("rowan").papers if isinstance(paper, Signed)] == made


def test_a_document_carries_the_record_to_another_place(keeping: Keeping, clock: Clock) -> None:
    note(keeping, Kind.SAMPLED, 5, {"laboratory": "A", "legionella": 20})
    sign_day(keeping, "rowan", {"day": "2026-11-20", "name": "Robin"}, zone=UTC)
    store, kits = MemoryEntries(), MemoryKits()
    take_document(to_document(keeping.store, kits), store, kits, clock)
    there = record(Keeping(store, MemorySnapshots(), clock, RandomNames()))
    assert there == record(keeping) and there.days[0].signatures and there.samples
    document = to_document(keeping.store, kits)
    next(row for row in document["entries"] if row["kind"] == "signed")["body"] = {"day": 7}
    with pytest.raises(InputError, match="day"):
        take_document(document, MemoryEntries(), kits, clock)
