"""The stages of `python3 run.py check`, run by the interpreter of the development environment.

Form, types and layers are judged on the sources.
The tests run on the built wheel, in an environment that was empty before and lies outside the checkout:
first with nothing but the locked run-time packages, then with the test tools put behind them on the path.
"""

from __future__ import annotations

import os
import subprocess
import sys
import sysconfig
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path

__all__ = ["Report", "main"]

ROOT = Path(__file__).resolve().parent.parent
FORM = ("src", "tests", "tools", "bench", "run.py")
LINT_IMPORTS = "from importlinter.cli import lint_imports_command as lint; lint()"
IMPORT_ALL = """
import importlib, pkgutil, tubwater
found = [m.name for m in pkgutil.walk_packages(tubwater.__path__, "tubwater.") if not m.name.endswith("__main__")]
for name in found:
    importlib.import_module(name)
print(len(found), "modules import with the run-time packages alone")
"""


@dataclass
class Report:
    """What passed and what failed so far, with the seconds each stage took."""

    lines: list[str] = field(default_factory=list)
    failed: list[str] = field(default_factory=list)

    def stage(self, name: str, *commands: list[str]) -> bool:
        """Runs the commands of a stage up to the first that fails; whether all passed."""
        say(f"--- {name}")
        started = time.monotonic()
        passed = all(run(command) for command in commands)
        self.note(name, passed, time.monotonic() - started)
        return passed

    def note(self, name: str, passed: bool, seconds: float) -> None:
        """Tells and keeps how a stage ended."""
        self.lines.append(f"    {name:<20} {'passed' if passed else 'FAILED'} {seconds:8.1f} s")
        say(self.lines[-1])
        if not passed:
            self.failed.append(name)


def say(text: str) -> None:
    """Prints at once, so that it stands in order with what the tools print."""
    print(text, flush=True)


def run(command: list[str]) -> bool:
    """Runs one command in the checkout; whether it passed."""
    # One thread of linear algebra for each of the two test processes: more of them only wait for each other.
    environment = dict(os.environ, TUBWATER_PROFILE="check", PYTHONPATH="", OMP_NUM_THREADS="1")
    return subprocess.run(command, cwd=ROOT, env=environment, stdin=subprocess.DEVNULL, check=False).returncode == 0


def main() -> int:
    """Runs every stage, whatever failed before it, and returns the exit code."""
    report = Report()
    form_stages(report)
    with tempfile.TemporaryDirectory(prefix="tubwater-check-") as scratch:
        tested = wheel_stages(report, Path(scratch))
    if report.failed:
        say("The check FAILED in: " + ", ".join(report.failed) + ("" if tested else "; the tests could not run"))
    return 1 if report.failed else 0


def form_stages(report: Report) -> None:
    """What needs no installed package."""
    python = [sys.executable]
    report.stage("format", [*python, "-m", "ruff", "format", "--check", *FORM])
    report.stage("lint", [*python, "-m", "ruff", "check", *FORM])
    report.stage("types", [*python, "-m", "mypy", "--strict", "src"], [*python, "-m", "mypy", "--strict", "tools"])
    report.stage("layers", [*python, "-c", "import sys; sys.path.insert(0, 'src'); " + LINT_IMPORTS])
    report.stage("documents", [*python, "tools/check_documents.py"], [*python, "tools/make_docs.py"])


def wheel_stages(report: Report, scratch: Path) -> bool:
    """Builds the wheel, tries it alone, then runs the tests on it; whether they could run.

    The tests come last, so that pytest's summary is the last line of a check that passed.
    """
    python, wheels = interpreter(scratch / "empty"), scratch / "wheels"
    pip = ["-m", "pip", "--quiet", "--disable-pip-version-check", "--no-input"]
    build = [
        sys.executable,
        *pip,
        "wheel",
        "--no-deps",
        "--no-index",
        "--no-build-isolation",
        "-w",
        str(wheels),
        str(ROOT),
    ]
    if not report.stage("wheel", build):
        return False
    empty = [sys.executable, "-m", "venv", str(scratch / "empty")]
    locked = [python, *pip, "install", "--require-hashes", "-r", "requirements.lock"]
    wheel = [python, *pip, "install", "--no-deps", "--no-index", *(str(path) for path in wheels.glob("*.whl"))]
    if not report.stage("empty environment", empty, locked, wheel, [python, *pip, "check"]):
        return False
    report.stage("wheel alone", [python, "-P", "-m", "tubwater", "--version"], [python, "-P", "-c", IMPORT_ALL])
    put_test_tools_behind(python)
    say("--- so far\n" + "\n".join(report.lines) + "\n--- tests on the wheel")
    if not run([python, "-P", "-m", "pytest", "-n", "2"]):
        report.failed.append("tests")
    return True


def interpreter(environment: Path) -> str:
    """Where an environment keeps its Python."""
    return str(environment / ("Scripts/python.exe" if os.name == "nt" else "bin/python"))


def put_test_tools_behind(python: str) -> None:
    """Lets an environment find the development packages after its own; they hold no Tubwater."""
    ask = "import sysconfig; print(sysconfig.get_path('purelib'))"
    own = subprocess.check_output([python, "-c", ask], text=True).strip()
    Path(own, "test-tools.pth").write_text(sysconfig.get_path("purelib") + "\n", encoding="utf-8")


if __name__ == "__main__":
    raise SystemExit(main())
