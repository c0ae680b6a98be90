"""The commands `outlook` and `trouble`, and what they refuse."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from tubwater.cli.app import run
from tubwater.services.tubfile import example_text

NOW = ["--now", "2026-11-25T09:00:00+00:00"]
PARTY = ["--party-at", "2026-11-26T20:00:00+00:00"]


@pytest.fixture
def file(tmp_path: Path) -> str:
    path = tmp_path / "tub.toml"
    path.write_text(example_text(), encoding="utf-8")
    return str(path)


def test_the_outlook_has_a_line_for_each_day_and_says_when_to_test(
    file: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["outlook", file, "--days", "3", *NOW]) == 0
    said = capsys.readouterr().out
    assert all(day in said for day in ("Wed 25 Nov", "Thu 26 Nov", "Fri 27 Nov")) and "Test again by" in said
    assert max(len(line) for line in said.splitlines()) <= 80


def test_the_figures_of_an_outlook_are_as_fine_as_a_test_shows_them(
    file: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["outlook", file, "--days", "3", *NOW]) == 0
    rows = [line for line in capsys.readouterr().out.splitlines() if line.endswith("%")]
    figures = [figure for row in rows for figure in re.findall(r"[0-9.]+", row[12:].rpartition(")")[0])]
    assert len(figures) == len(rows) * 9 and any(len(figure) == 3 for figure in figures)
    assert all(len(figure.replace(".", "").rstrip("0")) <= 2 for figure in figures)


def test_the_outlook_of_a_water_whose_test_is_old_says_how_long_a_reading_counts(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    old = 'method = "strip"\nat = 2026-11-20T09:00:00+00:00'
    path = tmp_path / "old.toml"
    path.write_text(example_text().replace('method = "strip"', old, 1), encoding="utf-8")
    assert run(["outlook", str(path), "--days", "1", *NOW]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "Test again by Wed 25 Nov, 09:00" in said and "A reading counts for 24 hours at most." in said


def test_a_test_that_would_hold_for_no_time_is_told_so(file: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["outlook", file, "--days", "1", "--test", "strip", "--json", *NOW]) == 0
    hours = json.loads(capsys.readouterr().out)["test_holds"]
    assert run(["outlook", file, "--days", "1", "--test", "strip", *NOW]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert hours < 1.0 and "would probably not allow a soak, not even for an hour" in said


def test_a_party_leaves_less_sanitizer(file: str, capsys: pytest.CaptureFixture[str]) -> None:
    plain = ["outlook", file, "--days", "2", "--json", *NOW]
    run(plain)
    usual = json.loads(capsys.readouterr().out)["bands"]["bromine"][2]
    run([*plain, "--party-at", "2026-11-25T12:00", "--party-people", "8"])
    party = json.loads(capsys.readouterr().out)["bands"]["bromine"][2]
    assert party[12] < usual[12]


@pytest.mark.parametrize(
    ("words", "field"),
    [
        (["outlook", "--tablets", "many"], "--tablets"),
        (["outlook", "--party-at", "soon"], "--party-at"),
        (["outlook", "--party-at", "2020-01-01T10:00"], "--party-at"),
        (["outlook", "--party-people", "6"], "party_at"),
        *((["outlook", *PARTY, "--party-people", said], "--party-people") for said in ("-5", "1e9", "nan")),
        *((["outlook", *PARTY, "--party-minutes", said], "--party-minutes") for said in ("0", "721", "inf")),
        (["outlook", "--days", "1000"], "--days: got 1000.0, expected 1 to 60 days."),
        (["outlook", "--test", "thermo"], '--test: got "thermo", expected one of strip'),
        (["outlook", "--away-from", "2026-12-01T10:00"], "away"),
        (["outlook", "--away-from", "2026-12-05", "--away-until", "2026-12-01"], "--away-until: got"),
        (["outlook", "--away-from", "2026-12-10", "--away-until", "2026-12-11"], "within the 14 days"),
        (["outlook", "--party-at", "2026-11-28", "--party-people", "6"], "such as 2026-11-28T20:00"),
        (["outlook", "--party-at", "2026-11-28T20:00", "--days", "2"], "within the 2 days"),
        (["outlook", "--party-at", "9999-12-31T20:00"], "of the years 1970 to 2999"),
        (["trouble"], "--sign"),
        (["trouble", "--sign", "fog"], "--sign"),
        (["trouble", "--sign", "foam", "--check", "jar-shake"], "--check"),
    ],
)
def test_what_cannot_be_meant_is_refused_with_its_name(
    words: list[str], field: str, file: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run([words[0], file, *words[1:], *NOW]) == 2
    assert field in capsys.readouterr().err


def test_a_complaint_gets_fixed_advice_and_no_causes(file: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["trouble", file, "--sign", "skin", "--json", *NOW]) == 0
    found = json.loads(capsys.readouterr().out)
    assert (found["causes"], found["plans"]) == ([], ["skin-or-eyes"])


def test_what_is_seen_leads_to_the_plan_for_it(file: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["trouble", file, "--sign", "foam", "--sign", "sharp-odour", *NOW]) == 0
    said = capsys.readouterr().out
    assert "--about foam" in said and "--about smell" in said
    assert run(["trouble", file, "--sign", "zero-after-dose", *NOW]) == 0
    assert "--about" not in capsys.readouterr().out


@pytest.mark.parametrize("sign", ["cloudy-white", "skin"])
def test_the_answer_to_a_trouble_fits_into_80_columns(sign: str, file: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["trouble", file, "--sign", sign, *NOW]) == 0
    said = capsys.readouterr().out
    assert said.endswith(".\n") and max(len(line) for line in said.splitlines()) <= 80
