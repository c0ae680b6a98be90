"""A long trial that is ended and begun again."""

from __future__ import annotations

from pathlib import Path

import pytest
from trial.command import command


def ran(into: Path, capsys: pytest.CaptureFixture[str], *more: str) -> tuple[str, str]:
    options = ["--weeks", "1", "--policy", "guide", "--jobs", "1", "--into", str(into), *more]
    assert command(options) == 0
    return capsys.readouterr()


def test_lives_that_were_kept_are_not_led_again_and_tell_the_same(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    kept = tmp_path / "lives.jsonl"
    ran(kept, capsys, "--tubs", "1")
    (first,) = kept.read_text().splitlines()
    out, progress = ran(kept, capsys, "--tubs", "2")
    assert "1/1 lives" in progress and kept.read_text().splitlines()[0] == first
    again, progress = ran(kept, capsys, "--tubs", "2")
    assert again == out and "lives" not in progress


def test_lives_of_other_choices_do_not_count(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    kept = tmp_path / "lives.jsonl"
    ran(kept, capsys, "--tubs", "1")
    _, progress = ran(kept, capsys, "--tubs", "1", "--seed", "3")
    assert "1/1 lives" in progress and len(kept.read_text().splitlines()) == 2
