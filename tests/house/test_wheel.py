"""What the check tests is what is delivered."""

from __future__ import annotations

import importlib.metadata
import os
import subprocess
import sys
import tomllib
from pathlib import Path

import tubwater

PACKAGE = Path(tubwater.__file__).parent
CHECKING = os.environ.get("TUBWATER_PROFILE") == "check"


def delivered(folder: Path) -> set[str]:
    """The files of a package folder, without what interpreters leave behind."""
    found = (path.relative_to(folder) for path in folder.rglob("*") if path.is_file())
    return {path.as_posix() for path in found if "__pycache__" not in path.parts}


def test_the_check_sees_the_wheel_and_everybody_else_the_sources(checkout: Path) -> None:
    assert (checkout / "src" / "tubwater" == PACKAGE) is not CHECKING


def test_every_file_of_the_package_is_delivered(checkout: Path) -> None:
    assert delivered(PACKAGE) == delivered(checkout / "src" / "tubwater")


def test_the_types_are_delivered() -> None:
    assert "py.typed" in delivered(PACKAGE)


def test_the_command_tells_the_version() -> None:
    shown = subprocess.run([sys.executable, "-m", "tubwater", "--version"], capture_output=True, text=True, check=True)
    assert shown.stdout == f"tubwater {tubwater.__version__}\n"


def test_the_console_script_points_at_main(checkout: Path) -> None:
    project = tomllib.loads((checkout / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    entry = importlib.metadata.EntryPoint("tubwater", project["scripts"]["tubwater"], "console_scripts")
    assert entry.load() is importlib.import_module("tubwater.main").main
