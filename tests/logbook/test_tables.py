"""Happenings as tables: out, in again, and every problem of every row before anything is written."""

from __future__ import annotations

import io
import zipfile
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import Workbook, load_workbook

from logbook.places import START
from tubwater.errors import Conflict, InputError, UnknownEntry
from tubwater.logbook.sheetfiles import FileSheets
from tubwater.services.columns import COLUMNS, PARTS, Form, Formula, Sheet, cell_of, value_of
from tubwater.services.keeping import Keeping
from tubwater.services.memory import MemoryEntries, MemorySnapshots, RandomNames
from tubwater.services.ports import HAPPENINGS, Kind, Source
from tubwater.services.transfer import Preview, Transfer, template

FILES = FileSheets()
SHELF = [
    {"substance": "potassium monopersulfate", "name": "oxidizer", "strength": "43 %", "scoop": "20 g"},
    {"substance": "bromine tablets", "name": "=tablets", "strength": "96 %", "tablet": "20 g"},
]
# One of each kind with every entry that its table of a keeper's file takes.
WHOLE: list[tuple[Kind, dict[str, Any]]] = [
    (Kind.TEST, {"method": "strip", "scale": "as Br2", "after_dose": "30 min", "bromine": [1, 2], "pH": 7.8}),
    (Kind.TEST, {"method": "photometer", "bromine": "<1", "pH": "7.2"}),
    (Kind.DOSED, {"product": "oxidizer", "measures": 2, "sure": False}),
    (Kind.DOSED, {"product": "oxidizer", "amount": "1,5 kg"}),
    (Kind.SOAKED, {"people": 2, "lasted": "30 min"}),
    (Kind.FILLED, {"volume": "1300 L"}),
    (Kind.DRAINED, {"volume": "300 L"}),
    (Kind.FEEDER, {"product": "=tablets", "tablets": 3, "opening": 0.5}),
    (Kind.NOTICED, {"clarity": "clear", "signs": ["slime", "strong smell"], "soak_not_noted": "don't know"}),
    (Kind.NOTICED, {"signs": [], "too_little_sanitizer_for": "2 days"}),
    (Kind.CARED, {"task": "rinse-filter"}),
    (Kind.SAMPLED, {"taken": "2026-11-10T08:00:00+00:00", "laboratory": "A", "report": "7", "point": "elbow deep"}),
    (Kind.SAMPLED, {"laboratory": "A", "legionella": "<10", "colony_count": 12, "sanitizer": 4.5, "pH": 7.4}),
    (Kind.APPOINTED, {"name": "Robin", "qualification": "a course"}),
    (Kind.SOURCE_WATER, {"total_alkalinity": "120 mg/L", "pH": 7.5, "iron": "0.1 mg/L", "report": "3"}),
    (Kind.OPENING_HOURS, {"opens": "09:00", "closes": "21:00"}),
    (Kind.TEST, {"method": "strip", "pH": 7.5, "jets": False, "bathers": 2}),
]


class Clock:
    """A clock that stands still."""

    def now(self) -> datetime:
        return START


@pytest.fixture
def keeping() -> Keeping:
    found = Keeping(MemoryEntries(), MemorySnapshots(), Clock(), RandomNames())
    body = {"tub": {"name": "larch", "volume": "1300 L", "sanitizer": "bromine"}, "product": SHELF}
    for tub in ("larch", "birch"):
        found.add_tub(body, id=tub)
    return found


@pytest.fixture
def transfer(keeping: Keeping) -> Transfer:
    return Transfer(keeping.store, keeping.clock)


def preview(transfer: Transfer, *rows: dict[str, Any], tub: str = "larch") -> Preview:
    """What taking in some rows would do."""
    names = list(dict.fromkeys(name for row in rows for name in row))
    return transfer.preview(tub, [names, *([row.get(name) for name in names] for row in rows)], zone=UTC)


def soak(**more: Any) -> dict[str, Any]:
    return {"what": "soaked", "at": "2026-11-20 20:00", "people": 2} | more


# Columns


def test_every_entry_of_every_table_has_a_column(keeping: Keeping) -> None:
    assert set(PARTS) == set(HAPPENINGS)
    for kind, body in WHOLE:
        assert set(body) <= set(PARTS[kind]), kind
        keeping.record("larch", kind, body)


@pytest.mark.parametrize("kind", HAPPENINGS, ids=str)
def test_no_column_is_unknown_to_the_reader_of_a_keepers_file(keeping: Keeping, kind: Kind) -> None:
    for name in PARTS[kind]:
        try:
            keeping.record("larch", kind, {name: object.__name__})
        except InputError as error:
            assert "an unknown entry" not in {p.given for p in error.problems}, name


@pytest.mark.parametrize(
    ("form", "cell", "value"),
    [
        (Form.READING, "1 to 2", [1, 2]),
        (Form.READING, "1-2", [1, 2]),
        (Form.READING, "1 – 2", [1, 2]),
        (Form.READING, "6.8 bis 7.2", [6.8, 7.2]),
        (Form.READING, "between 6,8 and 7,2", [6.8, 7.2]),
        (Form.READING, "Zwischen 1 und 2", [1, 2]),
        (Form.READING, "5-8 °dH", [5, "8 °dH"]),
        (Form.READING, "2026-11-20", "2026-11-20"),
        (Form.READING, "1e-3", "1e-3"),
        (Form.READING, "-1", -1),
        (Form.READING, ">10", ">10"),
        (Form.READING, " 7,4 ", 7.4),
        (Form.READING, "<1", "<1"),
        (Form.READING, "80 mg/L", "80 mg/L"),
        (Form.READING, "5 °dH to 8 °dH", ["5 °dH", "8 °dH"]),
        (Form.READING, 7.0, 7),
        (Form.READING, "1,300", "1,300"),
        (Form.NUMBER, "2", 2),
        (Form.NUMBER, 0.5, 0.5),
        (Form.YES, "No", False),
        (Form.YES, "perhaps", "perhaps"),
        (Form.LIST, "slime; strong smell", ["slime", "strong smell"]),
        (Form.TEXT, " as Br2 ", "as Br2"),
    ],
)
def test_a_cell_becomes_an_entry(form: Form, cell: Any, value: Any) -> None:
    assert value_of(form, cell) == value and type(value_of(form, cell)) is type(value)


@pytest.mark.parametrize("cell", [Formula("=1+1"), datetime(2026, 1, 2)])
def test_a_formula_or_a_date_in_place_of_a_reading_is_refused(cell: Any) -> None:
    with pytest.raises(InputError):
        value_of(Form.READING, cell)


# Out and in again


@pytest.mark.parametrize("ending", [".csv", ".xlsx"])
def test_what_was_taken_out_can_be_taken_in_elsewhere(keeping: Keeping, transfer: Transfer, ending: str) -> None:
    for minute, (kind, body) in enumerate(WHOLE):
        keeping.record("larch", kind, body | {"at": (START - timedelta(minutes=99 - minute)).isoformat()})
    keeping.withdraw("larch", keeping.history("larch")[4].stored.entry.id)
    keeping.correct("larch", keeping.history("larch")[0].stored.entry.id, {"method": "strip", "pH": [7.2, 7.8]})
    sheet = FILES.read("x" + ending, FILES.write("x" + ending, transfer.table("larch")))
    elsewhere = [[*row[:2], "", *row[3:]] for row in map(list, sheet[1:])]
    assert transfer.take(transfer.preview("birch", [sheet[0], *elsewhere])) == len(WHOLE) - 1
    assert keeping.file("birch").events == keeping.file("larch").events


def test_taking_in_the_same_table_again_changes_nothing(keeping: Keeping, transfer: Transfer) -> None:
    rows = (soak(), soak(), soak(people=3))
    assert transfer.take(preview(transfer, *rows)) == 3
    again = preview(transfer, *rows)
    assert (again.new, again.known, again.problems) == ((), 3, ())
    assert transfer.take(again) == 0 and len(keeping.history("larch")) == 3
    own = transfer.preview("larch", transfer.table("larch"))
    assert (own.new, own.known) == ((), 3)


def test_a_table_taken_out_is_known_entry_by_entry_as_it_stands_now(keeping: Keeping, transfer: Transfer) -> None:
    for number, (kind, body) in enumerate(WHOLE):
        keeping.record("larch", kind, body | {"at": "2026-11-20T20:00:00"}, id=f"{number}")
    keeping.correct("larch", "4", {"people": 5, "at": "2026-11-20T21:00:00+01:00"})
    sheet = transfer.table("larch")
    keeping.withdraw("larch", "5")
    found = transfer.preview("larch", FILES.read("x.csv", FILES.write("x.csv", sheet)))
    assert (found.new, found.known, found.problems) == ((), len(WHOLE), ())


@pytest.mark.parametrize("zone", [None, UTC])
def test_the_templates_rows_can_be_taken_in_once_they_are_written_over_and_not_before(
    transfer: Transfer, zone: tzinfo | None
) -> None:
    for name in ("x.csv", "x.xlsx"):
        sheet = [list(row) for row in FILES.read(name, FILES.write(name, template()))]
        left = transfer.preview("larch", sheet, zone=zone)
        assert [(p.row, p.given) for p in left.problems] == [(row, "an example of the template") for row in (2, 3, 4)]
        own = [sheet[0], *([row[0], str(row[1]).replace("2000-01-01", "2026-11-20"), *row[2:]] for row in sheet[1:])]
        found = transfer.preview("larch", own, zone=zone)
        assert found.problems == () and len(found.new) == 3


def test_an_entry_says_by_whom_it_came_and_when_it_happened(keeping: Keeping, transfer: Transfer) -> None:
    zone = timezone(timedelta(hours=1))
    found = transfer.preview("larch", [["What", " AT ", "People"], ["Soaked", datetime(2026, 11, 20, 20), 2]],
                             Source("ada"), zone)  # fmt: skip
    assert found.new[0].source.actor == "ada" and found.new[0].happened == datetime(2026, 11, 20, 19, tzinfo=UTC)
    assert transfer.take(found) == 1 and keeping.history("larch")[0].stored.recorded == START


# Problems


def test_every_problem_is_told_by_row_and_nothing_is_written(keeping: Keeping, transfer: Transfer) -> None:
    found = preview(
        transfer,
        soak(),
        soak(people="many"),
        {"what": "bathed", "at": "2026-11-20 20:00"},
        soak(at="20.11.2026 20:00"),
        soak(at="2027-01-01 20:00"),
        {"what": "test", "at": "2026-11-20 09:00", "method": "strip", "pH": 14, "people": 2},
        {"what": "dosed", "at": "2026-11-20 09:00", "product": "sugar", "amount": "1,300 g"},
        soak(people=Formula("=1+1")),
        soak(id="x" * 200),
    )
    assert [(p.row, p.column) for p in found.problems] == [
        (3, "people"), (4, "what"), (5, "at"), (6, "at"), (7, "people"), (7, "pH"), (8, "product"), (8, "amount"),
        (9, "people"), (10, "id"),
    ]  # fmt: skip
    with pytest.raises(InputError) as told:
        transfer.take(found)
    assert len(told.value.problems) == 10 and keeping.history("larch") == ()


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ({"what": "soaked", "people": "many", "lasted": "long"}, ["people", "lasted"]),
        ({"what": "soaked", "people": -1, "lasted": "30 min", "pH": 7}, ["people", "pH"]),
        ({"what": "dosed", "product": "sugar", "amount": "1,300 g"}, ["product", "amount"]),
        ({"what": "test", "method": "guess", "pH": "sour", "bromine": "much"}, ["method", "pH", "bromine"]),
        ({"what": "feeder", "product": "sugar", "tablets": "few", "opening": 7}, ["product", "tablets", "opening"]),
        ({"what": "noticed", "clarity": "odd", "signs": "joy"}, ["clarity", "signs"]),
        ({"what": "filled", "volume": "90000 L", "id": "x" * 200}, ["volume", "id"]),
        ({"what": "bathed"}, ["what"]),
    ],
)
@pytest.mark.parametrize("at", ["yesterday", "20.11.2026 20:00", None, "2027-13-01 10:00", Formula("=NOW()")])
def test_a_time_that_cannot_be_read_hides_no_other_problem_of_its_row(
    transfer: Transfer, row: dict[str, Any], told: list[str], at: Any
) -> None:
    found = preview(transfer, {**row, "at": at}, soak())
    assert {p.row for p in found.problems} == {2} and len(found.new) == 1
    assert sorted(p.column for p in found.problems) == sorted(["at", *told])


def test_empty_rows_count_but_say_nothing(transfer: Transfer) -> None:
    found = preview(transfer, soak(), {"what": None, "at": " "}, soak(people=-1))
    assert len(found.new) == 2 and [p.row for p in found.problems] == [4]


@pytest.mark.parametrize(
    ("sheet", "columns"),
    [
        ([], [""]),
        ([["what", "people"]], ["at"]),
        ([["what", "at", "ph value"]], ["ph value"]),
        ([["what", "at", "pH", "PH"]], ["pH"]),
        ([["what", "at"], ["soaked", "2026-11-20 20:00", "2"]], ["", "people"]),
    ],
)
def test_wrong_headings_are_told(transfer: Transfer, sheet: Sheet, columns: list[str]) -> None:
    assert [p.column for p in transfer.preview("larch", sheet).problems] == columns


def test_an_id_that_says_something_else_already_is_told(keeping: Keeping, transfer: Transfer) -> None:
    keeping.record("larch", Kind.SOAKED, {"people": 2, "at": "2026-11-20T20:00:00"}, id="a")
    keeping.record("birch", Kind.SOAKED, {"people": 2}, id="b")
    found = preview(transfer, soak(id="a"), soak(id="a", people=3), soak(id="c"), soak(id="c", people=4))
    assert [(p.row, p.column) for p in found.problems] == [(3, "id"), (5, "id")]
    with pytest.raises(Conflict):
        transfer.take(preview(transfer, soak(id="b")))
    assert len(keeping.history("larch")) == 1


def test_an_unknown_tub_is_said(transfer: Transfer) -> None:
    for ask in (transfer.table, lambda tub: transfer.preview(tub, template())):
        with pytest.raises(UnknownEntry):
            ask("nowhere")


# Files


@pytest.mark.parametrize("text", ["=1+1", "+49 30", "-x", "@home", "'quoted", "''", "plain", "ü≥", 'a,b;"c"\nd', ""])
def test_no_text_becomes_a_formula_and_every_text_comes_back(text: str) -> None:
    for name in ("x.csv", "x.xlsx"):
        content = FILES.write(name, [["what"], [text]])
        cell = FILES.read(name, content)[1][0]
        assert not isinstance(cell, Formula) and (cell or "") == text
    made = load_workbook(io.BytesIO(content)).active
    assert made is not None and made["A2"].data_type != "f"
    assert FILES.write("x.csv", [["=1+1"]]).decode("utf-8-sig").startswith("'=")


@given(st.text(st.characters(exclude_categories=["Cs", "Cc"]), min_size=1))
def test_any_text_comes_back_from_a_csv(text: str) -> None:
    assert FILES.read("x.csv", FILES.write("x.csv", [["a", "b"], [text, "x"]]))[1] == [text, "x"]


def test_a_csv_of_another_country_is_read() -> None:
    assert FILES.read("X.CSV", "what;pH\r\ntest;7,4\r\n".encode("utf-8-sig")) == [["what", "pH"], ["test", "7,4"]]


def test_a_formula_of_a_workbook_is_not_taken_for_its_text() -> None:
    book, out = Workbook(), io.BytesIO()
    assert book.active is not None
    book.active.append(["pH", "=7+0.4"])
    book.save(out)
    assert isinstance(FILES.read("x.xlsx", out.getvalue())[0][1], Formula)


def bomb() -> bytes:
    """A small file that unpacks to a large one."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for number in range(21):
            packed.writestr(f"xl/{number}.xml", bytes(10_000_000))
    return out.getvalue()


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("x.csv", b"\xff\xfe\x00broken"),
        ("x.csv", b"a\n" * 50_010),
        ("x.csv", b"," * 300),
        ("x.csv", bytes(20_000_001)),
        ("x.xlsx", b"PK nothing"),
        ("x.xlsx", b""),
        ("x.xlsx", bomb()),
        ("x.ods", b""),
    ],
    ids=["not UTF-8", "rows", "columns", "bytes", "no workbook", "empty", "bomb", "ending"],
)
def test_a_file_that_is_no_such_table_is_refused_in_a_sentence(name: str, content: bytes) -> None:
    with pytest.raises(InputError) as told:
        FILES.read(name, content)
    assert len(told.value.problems) == 1


def test_a_cell_of_what_is_no_plain_value_is_its_text() -> None:
    assert [cell_of(value) for value in (True, [1, "<2"], ["slime"], None, START)] == [
        "yes", "1 to <2", "slime", None, str(START),
    ]  # fmt: skip
    assert len(set(COLUMNS)) == len(COLUMNS)
