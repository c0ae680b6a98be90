"""The launcher refuses in a sentence, and hands everything that is not its own to the command."""

from __future__ import annotations

import importlib.util
import os
import stat
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).resolve().parent.parent.parent


@pytest.fixture
def launcher(checkout: Path) -> ModuleType:
    """The launcher as a module."""
    spec = importlib.util.spec_from_file_location("launcher", checkout / "run.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def handed_on(launcher: ModuleType, monkeypatch: pytest.MonkeyPatch) -> list[list[str]]:
    """The commands that the launcher would have run."""
    commands: list[list[str]] = []
    monkeypatch.setattr(launcher, "runtime_python", lambda: Path("python"))
    monkeypatch.setattr(launcher, "development_python", lambda: Path("dev-python"))
    monkeypatch.setattr(launcher, "run", lambda command, _: commands.append([str(part) for part in command]) or 7)
    return commands


@pytest.mark.parametrize(
    ("words", "command"),
    [
        ([], ["python", "-m", "tubwater", "serve"]),
        (["--demo"], ["python", "-m", "tubwater", "serve", "--demo"]),
        (["demo"], ["python", "-m", "tubwater", "demo"]),
        (["plan", "tub.toml", "--json"], ["python", "-m", "tubwater", "plan", "tub.toml", "--json"]),
        (["--", "check"], ["python", "-m", "tubwater", "check"]),
        (["docs", "here"], ["dev-python", str(ROOT / "tools" / "make_docs.py"), "here"]),
        (["test", "-x"], ["dev-python", "-m", "pytest", "-x"]),
    ],
    ids=lambda words: " ".join(words),
)
def test_words_are_handed_on(
    launcher: ModuleType, handed_on: list[list[str]], words: list[str], command: list[str]
) -> None:
    assert launcher.main(words) == 7
    assert handed_on == [command]


@pytest.mark.parametrize("words", [["setup", "--fast"], ["check", "src"]], ids=" ".join)
def test_a_word_too_many_is_refused(launcher: ModuleType, words: list[str]) -> None:
    with pytest.raises(launcher.Refusal, match="takes nothing"):
        launcher.main(words)


def without_ensurepip(launcher: ModuleType, monkeypatch: pytest.MonkeyPatch, python: str, user: int) -> None:
    """Makes this look like a Python that cannot make environments."""
    monkeypatch.setattr(launcher.importlib.util, "find_spec", lambda name: None)
    monkeypatch.setattr(launcher.sys, "executable", python)
    monkeypatch.setattr(launcher.os, "geteuid", lambda: user, raising=False)
    monkeypatch.setattr(launcher.os.path, "realpath", lambda path: path)
    monkeypatch.setattr(launcher.shutil, "which", lambda name: name)


def test_without_root_the_missing_package_is_named(launcher: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    without_ensurepip(launcher, monkeypatch, "/usr/bin/python3", user=1000)
    with pytest.raises(launcher.Refusal, match=r"please run `sudo apt-get install python3\.\d+-venv` first"):
        launcher.ensure_venv()


def test_root_gets_the_missing_package_installed(launcher: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    without_ensurepip(launcher, monkeypatch, "/usr/bin/python3", user=0)
    asked: list[str] = []
    monkeypatch.setattr(launcher, "install_debian_package", asked.append)
    with pytest.raises(launcher.Refusal, match="could not be installed"):
        launcher.ensure_venv()
    assert asked == [f"python3.{sys.version_info.minor}-venv"]


@pytest.mark.parametrize(
    ("missing", "user", "expected"),
    [
        ({"initdb"}, 0, ["postgresql"]),
        ({"chromium"}, 0, ["chromium"]),
        ({"initdb", "chromium"}, 0, ["postgresql", "chromium"]),
        (set(), 0, []),
        ({"initdb", "chromium"}, 1000, []),
    ],
)
def test_root_gets_the_database_server_and_the_browser_of_the_tests(
    launcher: ModuleType, monkeypatch: pytest.MonkeyPatch, missing: set[str], user: int, expected: list[str]
) -> None:
    without_ensurepip(launcher, monkeypatch, "/usr/bin/python3", user)
    monkeypatch.setattr(launcher.glob, "glob", lambda pattern: [] if "initdb" in missing else [pattern])
    monkeypatch.setattr(launcher.shutil, "which", lambda name: None if name in missing else name)
    asked: list[str] = []
    monkeypatch.setattr(launcher, "install_debian_package", asked.append)
    launcher.ensure_test_programs()
    assert asked == expected


def test_a_python_that_debian_did_not_bring_is_left_alone(
    launcher: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    without_ensurepip(launcher, monkeypatch, "/elsewhere/python3", user=0)
    with pytest.raises(launcher.Refusal, match="lacks the module ensurepip"):
        launcher.ensure_venv()


def test_help_needs_no_set_up(checkout: Path) -> None:
    shown = subprocess.run(
        [sys.executable, str(checkout / "run.py"), "--help"], capture_output=True, text=True, check=True
    )
    assert "python3 run.py check" in shown.stdout


def test_ci_runs_the_command_of_the_readme_and_nothing_else(checkout: Path) -> None:
    lines = [line for line in (checkout / ".ci" / "run").read_text(encoding="utf-8").splitlines() if line[:1] != "#"]
    assert lines == ["set -euo pipefail", 'cd "$(dirname "$0")/.."', "exec python3 run.py check </dev/null"]
    assert "$ python3 run.py check" in (checkout / "README.md").read_text(encoding="utf-8")
    assert os.name == "nt" or (checkout / ".ci" / "run").stat().st_mode & stat.S_IXUSR
