"""The command `record`."""

from __future__ import annotations

import json
from contextlib import closing
from datetime import datetime
from pathlib import Path

import pytest
from openpyxl import load_workbook

from tubwater.cli.app import run
from tubwater.logbook import SqlStorehouse, open_logbook
from tubwater.services.keeping import Keeping
from tubwater.services.memory import RandomNames, SystemClock
from tubwater.services.ports import Kind
from tubwater.services.recorded import sign_day
from tubwater.services.tubfile import example_text

NOW = ["--now", "2026-11-25T09:00:00+00:00"]
MORE = """
[[test]]
at = 2026-11-23T09:00:00
method = "photometer"
bromine = 4
pH = 7.4
[[signed]]
at = 2026-11-24T09:00:00
day = 2026-11-23
name = "Robin Example"
"""


@pytest.fixture
def file(tmp_path: Path) -> str:
    path = tmp_path / "tub.toml"
    text = example_text().replace('guideline = "household"', 'guideline = "uk-business"')
    path.write_text(text + MORE, encoding="utf-8")
    return str(path)


def test_it_tells_what_is_missing_today_and_on_other_days(file: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["record", file, *NOW]) == 0
    said = capsys.readouterr().out
    assert "25 Nov 2026" in said and "23 Nov 2026" not in said.split("Persons")[0] and "Missing" in said
    assert run(["record", file, "--from", "2026-11-23", *NOW]) == 0
    assert "Signed: Robin Example" in capsys.readouterr().out


@pytest.mark.parametrize("words", [["--day", "2026-12-24"], ["--day", "2020-01-01"], ["--day", "24.12.2026"]])
def test_a_day_that_cannot_be_meant_is_told_by_its_option(
    words: list[str], file: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["record", file, *words, *NOW]) == 2
    assert capsys.readouterr().err.startswith("tubwater: --day: got ")


def test_it_is_told_as_json(file: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["record", file, "--json", "--day", "2026-11-23", *NOW]) == 0
    found = json.loads(capsys.readouterr().out)
    assert [day["day"]["day"] for day in found["days"]] == ["2026-11-23"] and found["days"][0]["signatures"]


def test_it_is_written_as_pdf_and_as_a_table(file: str, tmp_path: Path) -> None:
    pdf, table = tmp_path / "record.pdf", tmp_path / "record.xlsx"
    assert run(["record", file, "--from", "2026-11-23", "--out", str(pdf), *NOW]) == 0
    assert run(["record", file, "--from", "2026-11-23", "--out", str(table), *NOW]) == 0
    assert pdf.read_bytes().startswith(b"%PDF-") and len(load_workbook(table)["Days"]["A"]) == 4


def test_the_record_of_a_logbook_names_its_days_and_its_tub(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = str(tmp_path / "logbook.db")
    with closing(open_logbook(place)) as logbook:
        keeping = Keeping(logbook.entries, logbook.snapshots, SystemClock(), RandomNames())
        tub = {"name": "Rowan", "volume": "1100 L", "sanitizer": "bromine", "guideline": "uk-business"}
        keeping.add_tub({"tub": tub}, id="rowan")
        keeping.record("rowan", Kind.APPOINTED, {"name": "Robin Example"})
        sign_day(keeping, "rowan", {"day": datetime.now().astimezone().date().isoformat(), "name": "Robin Example"})
    assert run(["record", "--logbook", place], SqlStorehouse) == 0
    said = capsys.readouterr().out
    assert "Record: Rowan" in said and "Signed: Robin Example" in said
    assert run(["record", "--logbook", place, "--tub", "larch"], SqlStorehouse) == 2
    assert run(["record", "--logbook", place, "--out", str(tmp_path / "r.pdf")], SqlStorehouse) == 0
    assert (tmp_path / "r.pdf").read_bytes().startswith(b"%PDF-")


def test_a_day_of_the_logbook_is_signed_for_good_and_a_file_holds_its_own_signatures(
    tmp_path: Path, file: str, capsys: pytest.CaptureFixture[str]
) -> None:
    place = str(tmp_path / "logbook.db")
    with closing(open_logbook(place)) as logbook:
        keeping = Keeping(logbook.entries, logbook.snapshots, SystemClock(), RandomNames())
        keeping.add_tub({"tub": {"name": "Rowan", "volume": "1100 L", "sanitizer": "bromine"}}, id="rowan")
    signs = ["record", "--logbook", place, "--sign", "Robin Example"]
    assert run([*signs, "--bathers", "4", "--remark", "quiet"], SqlStorehouse) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "Signed: Robin Example" in said and "quiet" in said and "Bathers counted: 4." in said
    assert run([*signs, "--bathers", "-1"], SqlStorehouse) == 2
    assert run([*signs, "--day", "2020-01-01"], SqlStorehouse) == 2
    assert run([*signs, "--from", "2026-11-20"], SqlStorehouse) == 2
    assert run(["record", file, "--sign", "Robin Example", *NOW]) == 2
    told = capsys.readouterr().err
    assert "bathers" in told and "day: got" in told and "one day, by --day" in told and "no FILE with it" in told
    with closing(open_logbook(place)) as logbook:
        assert sum(s.entry.kind is Kind.SIGNED for s in logbook.entries.of("rowan")) == 1


@pytest.mark.parametrize(
    ("words", "field"),
    [
        (["--day", "soon"], "--day"),
        (["--day", "2026-11-23", "--from", "2026-11-20"], "--day"),
        (["--until", "2026-11-30"], "--until"),
        (["--from", "2026-11-24", "--until", "2026-11-23"], "--from"),
        (["--out", "record.doc"], "--out"),
    ],
)
def test_what_cannot_be_meant_is_refused(
    file: str, words: list[str], field: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["record", file, *words, *NOW]) == 2
    assert field in capsys.readouterr().err
