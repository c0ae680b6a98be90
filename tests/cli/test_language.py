"""A command answers in English or German, as an option or the environment says."""

from __future__ import annotations

from pathlib import Path

import pytest

from tubwater.main import main
from tubwater.reports.language import Language, language
from tubwater.services.tubfile import example_text

NOW = "2026-11-26T15:40:00+01:00"


def test_a_plan_is_told_in_german(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "tub.toml"
    path.write_text(example_text(), encoding="utf-8")
    assert main(["plan", str(path), "--now", NOW, "--language", "de"]) == 0
    said = capsys.readouterr().out
    assert "Was zu tun ist" in said and "Nach jedem Bad" in said and "Wiederkommen: " in said
    assert "Do 26. Nov., 15:40" in said and "unter 10 mg/L" in " ".join(said.split())
    assert not any(f" {word} " in said for word in ("the", "and", "of", "water", "is", "people", "minutes"))
    assert max(map(len, said.splitlines())) <= 80


def test_the_language_holds_for_one_command_only(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["safety", "--language", "de"]) == 0
    german = capsys.readouterr().out
    assert main(["safety"]) == 0 and language() is Language.ENGLISH
    assert german != capsys.readouterr().out and "ß" in german


def test_the_option_may_stand_before_the_command_too(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["methods", "--language", "de"]) == 0
    german = capsys.readouterr().out
    assert main(["--language", "de", "methods"]) == 0 and capsys.readouterr().out == german
    assert main(["--language", "de", "methods", "--language", "en"]) == 0 and capsys.readouterr().out != german
    assert main(["--language", "de", "check-storage", "--logbook", "nowhere.db"]) == 2
    assert "erwartet" in capsys.readouterr().err


def test_the_environment_says_what_no_option_does(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert main(["methods", "--language", "de"]) == 0
    german = capsys.readouterr().out
    monkeypatch.setenv("TUBWATER_LANGUAGE", "de")
    assert main(["methods"]) == 0 and capsys.readouterr().out == german
    assert main(["methods", "--language", "en"]) == 0 and capsys.readouterr().out != german


def test_a_language_that_is_not_there_is_refused_in_one_sentence(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TUBWATER_LANGUAGE", "xx")
    assert main(["methods"]) == 2
    assert capsys.readouterr().err == 'tubwater: TUBWATER_LANGUAGE: got "xx", expected en or de.\n'


def test_problems_of_a_file_are_told_in_german(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "tub.toml"
    path.write_text('[tub]\nvolume = "40000 L"\nsanitizer = "salt"\n', encoding="utf-8")
    assert main(["plan", str(path), "--language", "de"]) == 2
    said = capsys.readouterr().err
    assert len(said.splitlines()) == 2 and "erwartet" in said and "expected" not in said
