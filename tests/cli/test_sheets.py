"""The commands that answer with a sheet."""

from __future__ import annotations

import json
import re
from contextlib import closing
from pathlib import Path

import pytest

from tubwater.logbook import open_logbook
from tubwater.main import main
from tubwater.services.keeping import Keeping
from tubwater.services.memory import RandomNames, SystemClock

NOW = ["--now", "2026-11-25T09:00:00+01:00"]


@pytest.fixture
def tub(tmp_path: Path) -> Path:
    """A file of an invented tub, filled ten days ago."""
    path = tmp_path / "tub.toml"
    path.write_text(
        """
[tub]
name = "Rowan"
volume = "1300 L"
sanitizer = "bromine"
[[product]]
substance = "sodium bicarbonate"
strength = "99 %"
scoop = "30 g"
[[product]]
name = "oxidizer"
substance = "potassium monopersulfate"
strength = "88 %"
scoop = "10 g"
[[filled]]
at = 2026-11-15T09:00:00+01:00
""",
        encoding="utf-8",
    )
    return path


def test_the_ledger_comes_for_eyes_and_for_machines(tub: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["ledger", str(tub), "--change", "400 L", *NOW]) == 0
    assert max(map(len, capsys.readouterr().out.splitlines())) <= 80
    assert main(["ledger", str(tub), "--json", *NOW]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["ledger"]["drain_by"]["rule"]["kind"] == "calendar" and found["change"] is None
    assert found["ledger"]["since"].startswith("2026-11-15")


@pytest.mark.parametrize("amount", ["400", "1400 L", "0 L", "3 kg"])
def test_a_change_that_cannot_be_is_refused(amount: str, tub: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["ledger", str(tub), "--change", amount, *NOW]) == 2
    assert f'--change: got "{amount}", expected' in capsys.readouterr().err


def test_a_place_that_takes_no_file_is_told_as_it_was_typed(tub: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["safety", "--out", str(tub.parent), *NOW]) == 2
    assert f'--out: got "{tub.parent}" (' in capsys.readouterr().err


def test_the_handout_comes_as_text_words_and_page(
    tub: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ask = ["--keeper", "Keeper of the valley round", "--address", "https://tub.example/t/7"]
    assert main(["handout", str(tub), *ask, *NOW]) == 0
    said = capsys.readouterr().out
    assert "Rowan" in said and "Keeper of the valley round" in said and max(map(len, said.splitlines())) <= 80
    assert main(["handout", str(tub), "--json", *ask, *NOW]) == 0
    assert json.loads(capsys.readouterr().out)["ask"]["qr"] == "https://tub.example/t/7"
    page = tmp_path / "handout.pdf"
    assert main(["handout", str(tub), "--out", str(page), "--paper", "Letter", *ask, *NOW]) == 0
    assert page.read_bytes().startswith(b"%PDF-")
    label = tmp_path / "label.pdf"
    assert main(["handout", str(tub), "--label", "--out", str(label), *ask, *NOW]) == 0
    assert label.read_bytes().startswith(b"%PDF-") and label.read_bytes() != page.read_bytes()


@pytest.mark.parametrize(
    ("asked", "paper"),
    [
        ([], "A4"),
        (["--units", "us"], "Letter"),
        (["--units", "us", "--paper", "a4"], "A4"),
        (["--paper", "letter"], "Letter"),
    ],
)
def test_a_sheet_comes_on_the_paper_of_the_units_where_none_is_asked_for(
    tmp_path: Path, asked: list[str], paper: str
) -> None:
    """Sizes in points of 1/72 inch: 210 by 297 mm (ISO 216), 8.5 by 11 inches."""
    page = tmp_path / "safety.pdf"
    assert main(["safety", "--out", str(page), *asked, *NOW]) == 0
    width, height = ((210 / 25.4 * 72, 297 / 25.4 * 72), (612.0, 792.0))[paper == "Letter"]
    found = re.search(rb"/MediaBox ?\[0 0 ([\d.]+) ([\d.]+)\]", page.read_bytes())
    assert found and [float(x) for x in found.groups()] == pytest.approx([width, height], abs=0.1)


def test_the_handout_says_to_ask_whom_the_file_names(tub: Path, capsys: pytest.CaptureFixture[str]) -> None:
    tub.write_text(tub.read_text(encoding="utf-8") + '[contact]\nname = "Robin"\nphone = "01632 960 123"\n', "utf-8")
    assert main(["handout", str(tub), "--json", "--keeper", "Kim", *NOW]) == 0
    ask = json.loads(capsys.readouterr().out)["ask"]
    assert ask["who"] == ["Kim", "01632 960 123"] and ask["blanks"] == []


def test_the_safety_sheet_and_the_handout_are_of_a_tub_of_the_logbook_where_one_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    place = str(tmp_path / "logbook.db")
    with closing(open_logbook(place)) as logbook:
        keeping = Keeping(logbook.entries, logbook.snapshots, SystemClock(), RandomNames())
        tub = {"name": "Rowan", "volume": "1100 L", "sanitizer": "bromine"}
        pots = [{"substance": "dry acid", "strength": "93 %"}, {"substance": "bromine tablets", "strength": "96 %"}]
        keeping.add_tub({"tub": tub, "product": pots, "contact": {"name": "Robin"}}, id="rowan")
    assert main(["safety", "--logbook", place, "--tub", "rowan"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "dry acid and bromine tablets" in said or "bromine tablets and dry acid" in said
    assert main(["handout", "--logbook", place, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["ask"]["who"] == ["Robin"]
    assert main(["safety", "--logbook", place, "--tub", "birch"]) == 2
    assert main(["safety", "tub.toml", "--tub", "rowan"]) == 2


def test_the_safety_sheet_needs_no_tub_but_looks_at_its_shelf(
    tub: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["safety"]) == 0
    bare = capsys.readouterr().out
    assert main(["safety", str(tub)]) == 0
    assert len(capsys.readouterr().out) > len(bare)
    assert main(["safety", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["shelf"]["lines"] == []
    page = tmp_path / "safety.pdf"
    assert main(["safety", "--out", str(page)]) == 0 and page.read_bytes().startswith(b"%PDF-")


def test_a_page_that_cannot_be_written_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["safety", "--out", str(tmp_path / "no" / "safety.pdf")]) == 2
    assert "--out" in capsys.readouterr().err
