"""`plan --about`, what more is said of it, and what it refuses."""

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


def test_a_plan_is_asked_about_something_with_its_numbers(file: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["plan", file, "--about", "part-change", "--say", "litres=300 L", "--json", *NOW]) == 0
    plan = json.loads(capsys.readouterr().out)
    assert plan["situation"] == "part-change"
    assert [s["litres"] for s in plan["steps"] if s["kind"] == "drain"] == [300.0]


def test_why_tells_the_reasons_of_such_a_plan(file: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["why", file, "--about", "skin-or-eyes", *NOW]) == 0
    assert "Skin, eyes or breath come before the water" in " ".join(capsys.readouterr().out.split())


def test_such_a_plan_is_told_in_german_as_well(file: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["plan", file, "--about", "winter", "--language", "de", *NOW]) == 0
    assert "Frostschutzmittel" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--about", "tea"], "tea"),
        (["--about", "wintre"], "did you mean winter"),
        (["--about", "tea"], "away-weekend"),
        (["--about", "winter", "--say", "days"], "such as days=3"),
        (["--about", "winter", "--say", "days="], "such as days=3"),
        (["--about", "winter", "--say", "days=1000"], '--say days: got "1000", expected 7 to 365 d.'),
        (["--with", "strip"], "--read"),
        (["--scale", "as Br2"], "--read"),
        (["--say", "days=3"], "--about"),
        (["--about", "away-weekend", "--say", "days=soon"], "days"),
        (["--about", "away-weekend", "--say", "days=40"], "1 to 7"),
        (["--about", "part-change", "--say", "litres=80 gal"], "US gal"),
        (["--about", "winter", "--say", "people=2"], "days"),
    ],
)
def test_what_cannot_be_meant_is_said_in_a_sentence(
    file: str, capsys: pytest.CaptureFixture[str], words: list[str], said: str
) -> None:
    assert run(["plan", file, *words, *NOW]) == 2
    assert said in capsys.readouterr().err
