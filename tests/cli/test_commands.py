"""The commands as a stranger types them."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tubwater.cli.app import build_parser
from tubwater.cli.completion import script
from tubwater.main import main


def test_a_bad_file_gives_one_sentence_a_problem_and_ends_with_2(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "tub.toml"
    path.write_text('[tub]\nvolume = "40000 L"\nsanitizer = "salt"\n', encoding="utf-8")
    assert main(["plan", str(path)]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert len(said.err.splitlines()) == 2
    assert "Traceback" not in said.err


def test_a_reading_without_a_value_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["verdict", str(tmp_path / "tub.toml"), "--read", "bromine"]) == 2
    assert "--read" in capsys.readouterr().err


@pytest.mark.parametrize("now", ["0001-01-01", "9999-12-31T23:59:59+00:00", "2026-13-01", "tomorrow"])
def test_a_time_that_cannot_be_meant_is_refused(now: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["demo", "--now", now]) == 2
    assert capsys.readouterr().err.startswith("tubwater: --now: got ")


@pytest.mark.parametrize("command", ["substances", "methods", "guidelines"])
def test_a_list_comes_for_eyes_and_for_machines(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([command]) == 0
    assert max(map(len, capsys.readouterr().out.splitlines())) <= 80
    assert main([command, "--json"]) == 0
    assert len(json.loads(capsys.readouterr().out)) > 3


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_knows_every_command(shell: str) -> None:
    text = script(shell, build_parser())
    assert all(name in text for name in ("plan", "verdict", "water", "why", "demo", "--json".lstrip("-")))


def test_the_completion_of_bash_is_bash() -> None:
    bash = shutil.which("bash")
    assert bash, "bash is needed for this test"
    subprocess.run([bash, "-n"], input=script("bash", build_parser()), text=True, check=True)


def test_help_loads_no_array_library() -> None:
    code = "import sys, tubwater.cli.app as a; a.build_parser().format_help(); sys.exit('numpy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
