"""The record as text, on paper and as a table: the same words everywhere, and nothing from memory without its mark."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from openpyxl import load_workbook

from reports.sheets import FONTS, letters, texts_of
from tubwater.facts.record import Germ, record_rules
from tubwater.reports.language import Language, speaking
from tubwater.reports.printed import Paper, record_pdf, sheet_pictures
from tubwater.reports.record import record_table, record_xlsx, render_record
from tubwater.reports.record_lines import entry_line
from tubwater.reports.record_words import record_words
from tubwater.reports.text import kinds
from tubwater.services.record import Noted, record_of_file
from tubwater.services.tubfile import parse_table
from tubwater.tub import OxidantScale, Quantity, Reading, Soaked
from tubwater.tub import Tested as Readings

NOW = datetime(2026, 11, 26, 15, tzinfo=UTC)
FIRST = date(2026, 11, 24)


def at(day: int, hour: float) -> datetime:
    return datetime(2026, 11, day, tzinfo=UTC) + timedelta(hours=hour)


def words_of(guideline: str, setting: str = "public", **more: Any) -> dict[str, Any]:
    tub = {"name": "Rowan", "volume": "1100 L", "sanitizer": "bromine", "setting": setting, "guideline": guideline}
    good = {"method": "photometer", "scale": "as Br2", "pH": 7.4}
    tables: dict[str, Any] = {
        "tub": {**tub, "fill_water": {"total_alkalinity": "110 mg/L", "source": "utility report"}},
        "product": [{"name": "dry acid", "substance": "sodium bisulfate", "strength": "93 %", "spoon": "15 g"}],
        "test": [
            {**good, "bromine": 5, "at": at(24, 8)},
            {**good, "bromine": 3, "at": at(25, 8)},
            {"method": "strip", "bromine": [3, 5], "pH": ">8.4", "at": at(25, 9)},
            {**good, "bromine": 5, "at": at(25, 10)},
        ],
        "dosed": [{"product": "dry acid", "amount": "10 g", "at": at(25, 9.5)}],
        "soaked": [{"people": 3, "at": at(25, 14)}],
        "noticed": [{"clarity": "clear", "signs": ["vomit"], "at": at(25, 16)}],
        "filled": [{"at": at(24, 6), "volume": "900 L"}, {"at": at(24, 7)}],
        "sampled": [
            {"laboratory": "=A", "report": "7", "legionella": 20, "e_coli": "<1", "at": at(25, 11), "sanitizer": 4.5}
        ],
        "appointed": [{"name": "Robin Example", "qualification": "a course", "at": at(24, 5)}],
        "opening_hours": [{"opens": "09:00", "closes": "21:00", "at": at(24, 5)}],
        "source_water": [{"iron": "0.1 mg/L", "conductivity": "480 µS/cm", "at": at(24, 5)}],
        "signed": [{"day": "2026-11-25", "name": "Robin Example", "bathers": 7, "remark": "busy", "at": at(26, 9)}],
        **more,
    }
    return record_words(record_of_file(parse_table(tables, NOW), NOW, FIRST))


WORDS = words_of("us-public")


def test_every_rule_state_field_and_germ_has_its_text() -> None:
    known = set(kinds("record-check"))
    for rules in record_rules().values():
        tests = {rule.key for rule in rules.tests} | {f"{rule.key}-closing" for rule in rules.tests if rule.closing}
        fields = {f"field-{name}" for name in rules.fields.words} if rules.fields else set()
        assert tests | fields | {rule.key for rule in rules.samples} <= known
    assert {germ.value for germ in Germ} == set(kinds("germ")) == set(kinds("germ-unit"))


def test_a_day_shows_its_entries_in_order_with_what_they_need() -> None:
    rows = [row[1] for row in WORDS["days"][1]["entries"]["rows"]]
    assert rows[1] == "Tested with a test strip: bromine 3 to 5 mg/L, pH over 8.4"
    assert rows[2] == "Added 10 g of dry acid" and rows[3].endswith("(30 minutes after the last addition)")
    assert "Legionella 20 per L" in rows[4] and "E. coli under 1 per 100 mL" in rows[4]
    assert WORDS["days"][1]["notes"] == [
        "Soaks noted: 3 people.",
        "Bathers counted: 7.",
        "Tested with a test strip, which proves nothing where DPD is required.",
    ]


def test_a_closure_names_its_limit_and_the_test_that_ended_it() -> None:
    first = WORDS["closures"]["rows"][0]
    assert first == [
        "25 Nov 2026, 08:00",
        "Bromine read 3 mg/L; below 4 mg/L nobody gets in.",
        "25 Nov 2026, 10:00",
        "25 Nov 2026, 10:00: bromine 5 mg/L as Br2, pH 7.4",
    ]
    assert ["still closed", "no clear sample"] in [row[3].split(", ") for row in WORDS["closures"]["rows"]]


def test_a_result_that_is_too_much_says_so() -> None:
    assert WORDS["samples"]["rows"][0][2] == "Legionella 20 per L, too much, E. coli under 1 per 100 mL"


def test_the_household_is_told_that_no_record_is_asked() -> None:
    words = words_of("household", "home")
    assert "asks for no record" in words["days"][0]["missing"]["lines"][0] and words["days"][0]["checks"]["rows"] == []
    assert words["days"][0]["missing"]["head"] == "What is asked"
    assert words["days"][1]["entries"]["rows"] and record_pdf(words).startswith(b"%PDF-")


@pytest.mark.parametrize(
    ("guideline", "setting"), [("uk-business", "public"), ("uk-business", "let"), ("who-style", "let")]
)
def test_what_is_from_memory_carries_its_mark(guideline: str, setting: str) -> None:
    words, rules = words_of(guideline, setting), record_rules()[guideline]
    marked = sum(text.endswith("*") for text, _ in words["asked"]["lines"])
    bases = [rule.basis for rule in rules.tests if rule.applies(setting, "bromine")]
    bases += [one.basis for one in (*rules.samples, *rules.germs.values())]
    bases += [found.basis for found in (rules.fields, rules.refused, rules.person, rules.keep) if found]
    assert marked == sum(not basis.verified for basis in bases) and all(why for _, why in words["asked"]["lines"])


@pytest.mark.parametrize("paper", list(Paper))
def test_the_record_prints_tagged_and_always_the_same(paper: Paper) -> None:
    made = record_pdf(WORDS, paper)
    assert b"pdfuaid:part" in made and made == record_pdf(WORDS, paper)
    assert len(sheet_pictures("record", WORDS, paper)) >= 2


def test_the_fonts_hold_every_sign_of_the_record() -> None:
    used = set("".join(texts_of(WORDS))) | set("•–·/0123456789")
    assert used <= set().union(*(letters(font) for font in FONTS))
    for font in FONTS:
        assert used - {"µ"} <= letters(font), font.name  # the sign of micro comes from the other family


def test_the_table_is_read_back_as_it_was_written() -> None:
    book = load_workbook(io.BytesIO(record_xlsx(WORDS)))
    for name, rows in record_table(WORDS).items():
        read = [[cell.value for cell in row if cell.value is not None] for row in book[name].iter_rows()]
        assert read == [[said for said in row if said != ""] for row in rows], name
        assert all(cell.data_type in ("s", "n") for row in book[name].iter_rows() for cell in row)
    laboratory = book[WORDS["samples"]["head"]]
    assert laboratory["B2"].value == "=A, 7" and laboratory["B2"].data_type == "s"  # a text and no formula


def test_what_was_read_stands_in_the_table_as_numbers_and_what_was_withdrawn_does_not() -> None:
    page = load_workbook(io.BytesIO(record_xlsx(WORDS)))["Readings"]
    rows = [tuple(cell.value for cell in row) for row in page.iter_rows(min_row=2)]
    assert ("2026-11-24", "08:00", "pH", 7.4, None, None, "photometer") in rows
    assert ("2026-11-25", "09:00", "bromine", "3 to 5", "mg/L", None, "test strip") in rows
    assert ("2026-11-25", "09:00", "pH", "over 8.4", None, None, "test strip") in rows
    assert ("2026-11-25", "10:00", "bromine", 5, "mg/L", "as Br2", "photometer") in rows
    record = record_of_file(parse_table({"tub": {"volume": "1100 L", "sanitizer": "bromine"}}, NOW), NOW, FIRST)
    test = Readings(at(24, 9), (Reading(Quantity.PH, 7.2, 7.2, "pH", "strip", at(24, 9)),))
    first = replace(record.days[0], entries=(Noted(at(24, 9), test, withdrawn=True), Noted(at(24, 9), test)))
    assert len(record_words(replace(record, days=(first,)))["days"][0]["readings"]) == 1


@pytest.mark.parametrize(
    ("speech", "expected"),
    [
        (Language.ENGLISH, ("Soak: 1 person, 30 minutes", "Soak: 2 people, 30 minutes", "as Br2", "1 bather in")),
        (Language.GERMAN, ("Bad: 1 Person, 30 Minuten", "Bad: 2 Personen, 30 Minuten", "als Br2", "1 Person im")),
    ],
)
def test_one_is_told_as_one_and_a_scale_in_the_language(speech: Language, expected: tuple[str, ...]) -> None:
    read = Reading(Quantity.BROMINE, 4.0, 4.0, "mg/L", "strip", NOW, OxidantScale.AS_BR2)
    with speaking(speech):
        lines = [
            entry_line(said) for said in (Soaked(NOW, 1, 30.0), Soaked(NOW, 2, 30.0), Readings(NOW, (read,), bathers=1))
        ]
    assert lines[:2] == list(expected[:2]) and all(words in lines[2] for words in expected[2:])


def test_every_sheet_names_its_days_alike_and_none_is_left_without_a_word() -> None:
    pages = record_table({**WORDS, "closures": {**WORDS["closures"], "rows": []}})
    days = [row[0] for row in pages[WORDS["summary"]["head"]][1:]]
    assert days == [day["day"] for day in WORDS["days"]]
    assert {row[0] for row in pages[WORDS["columns"]["wanted"]][1:]} <= set(days)
    assert pages[WORDS["closures"]["head"]][1:] == [[WORDS["closures"]["none"]]]


def test_the_record_fits_into_80_columns() -> None:
    said = render_record(WORDS)
    assert max(map(len, said.splitlines())) <= 80 and "Robin Example" in said


def test_the_column_of_who_entered_is_there_only_where_anybody_is_named() -> None:
    assert len(WORDS["columns"]["entries"]) == 2
    assert all(len(row) == 2 for day in WORDS["days"] for row in day["entries"]["rows"])
    record = record_of_file(parse_table({"tub": {"volume": "1100 L", "sanitizer": "bromine"}}, NOW), NOW, FIRST)
    first, *rest = record.days
    entries = (Noted(at(24, 10), Soaked(at(24, 10), 2, 30.0), "Robin"), Noted(at(24, 12), Soaked(at(24, 12), 2, 30.0)))
    words = record_words(replace(record, days=(replace(first, entries=entries), *rest)))
    assert [row[-1] for row in words["days"][0]["entries"]["rows"]] == ["Robin", "–"]
    assert len(words["columns"]["entries"]) == 3 and record_pdf(words).startswith(b"%PDF-")
