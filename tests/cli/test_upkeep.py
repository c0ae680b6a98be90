"""The commands about the shelf, what is due, and the calendar."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tubwater.cli.app import run
from tubwater.services.tubfile import example_text

NOW = ["--now", "2026-11-25T09:00:00+00:00"]


@pytest.fixture
def file(tmp_path: Path) -> str:
    path = tmp_path / "tub.toml"
    path.write_text(example_text(), encoding="utf-8")
    return str(path)


def test_the_shelf_names_every_product_and_what_must_stand_apart(file: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["shelf", file, *NOW]) == 0
    said = capsys.readouterr().out
    assert all(name in said for name in ("dry acid", "oxidizer", "sodium bromide", "soda ash", "Keep apart", "To buy"))


def test_the_shelf_as_json_carries_the_same(file: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["shelf", file, "--json", "--weeks", "8", *NOW]) == 0
    report = json.loads(capsys.readouterr().out)
    assert report["weeks"] == 8 and len(report["pots"]) == 6 and report["never"] and report["cheapest"]


@pytest.mark.parametrize("weeks", ["many", "0", "99", "nan"])
def test_weeks_that_cannot_be_meant_are_refused(file: str, weeks: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["shelf", file, "--weeks", weeks, *NOW]) == 2
    assert "--weeks" in capsys.readouterr().err


def test_old_strips_are_asked_about_wherever_their_reading_is_used(
    file: str, capsys: pytest.CaptureFixture[str]
) -> None:
    Path(file).write_text(example_text() + '\n[[reagents]]\nmethod = "strip"\nexpires = 2026-11-01\n', encoding="utf-8")
    assert run(["verdict", file, *NOW]) == 0
    assert "reagents[1].expires" in capsys.readouterr().err


def test_what_is_due_is_listed_and_told_as_json(file: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["due", file, "--days", "30", *NOW]) == 0
    assert "Rinse the filter" in capsys.readouterr().out
    assert run(["due", file, "--json", *NOW]) == 0
    assert {"care", "test", "visit"} <= {due["kind"] for due in json.loads(capsys.readouterr().out)}


def test_a_calendar_is_printed_or_written(file: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "tub.ics"
    assert run(["calendar", file, "--out", str(out), *NOW]) == 0
    assert capsys.readouterr().out == f"{out}\n"
    content = out.read_bytes()
    assert content.startswith(b"BEGIN:VCALENDAR\r\n") and content.endswith(b"END:VCALENDAR\r\n")
    assert run(["calendar", file, "--out", str(tmp_path / "no" / "tub.ics"), *NOW]) == 2
    assert "--out" in capsys.readouterr().err


@pytest.mark.parametrize(("command", "days"), [("due", "soon"), ("due", "0"), ("calendar", "999")])
def test_days_that_cannot_be_meant_are_refused(
    file: str, command: str, days: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run([command, file, "--days", days, *NOW]) == 2
    assert "--days: got" in capsys.readouterr().err
