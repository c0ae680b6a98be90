"""The code blocks of the documents do what they say.

A ```python block runs as it stands, the blocks of one document one after the other in one namespace.
In a ```console block each line that begins with `$ tubwater` or `$ python3 run.py` runs;
it has to end with 0, or with the number shown under a following `$ echo $?`.
Where a comment above the block says what it shows, those words stand in what is printed.
"""

from __future__ import annotations

import re
import shlex
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

from checkout import blocks, documents
from make_outputs import SHOWN, excerpt, wanted

ROOT = Path(__file__).resolve().parent.parent.parent
CONSOLE = re.compile(r"^\$ (?P<line>(?:tubwater|python3 run\.py)\b.*)$")
# The launcher's own commands: to run them here would run this test, or fetch packages.
LAUNCHER = frozenset({"setup", "check", "bench", "docs", "test"})


@dataclass(frozen=True)
class Command:
    """A line of a console block, the words behind `tubwater`, and the exit code it should end with."""

    line: str
    words: tuple[str, ...]
    code: int


def words_of(line: str) -> tuple[str, ...]:
    """The words that `tubwater` gets."""
    words = shlex.split(line)
    assert not set(words) & {"|", ">", "<", "&&", ";"}, f"more than a plain command: {line}"
    rest = words[1:] if words[0] == "tubwater" else words[2:]
    return tuple(rest[1:] if rest[:1] == ["--"] else rest)


def commands(text: str) -> list[Command]:
    """The commands of a console block."""
    lines = text.splitlines()
    found = []
    for index, line in enumerate(lines):
        if match := CONSOLE.match(line):
            code = 0
            for later, shown in zip(lines[index + 1 :], lines[index + 2 :], strict=False):
                if later.startswith("$ "):
                    code = int(shown) if later == "$ echo $?" else 0
                    break
            found.append(Command(match["line"], words_of(match["line"]), code))
    return found


def is_launchers_own(command: Command) -> bool:
    """Whether a line is for the launcher alone."""
    return command.line.startswith("python3 run.py") and command.words[:1] != () and command.words[0] in LAUNCHER


ALL = [
    (block, f"{block.document.relative_to(ROOT)}:{block.line}") for path in documents(ROOT) for block in blocks(path)
]
CONSOLES = [
    pytest.param(command, id=f"{where} {command.line}")
    for block, where in ALL
    if block.language == "console"
    for command in commands(block.text)
]
SHOWS: dict[str, list[str]] = {}
for _path in documents(ROOT):
    for _found in SHOWN.finditer(_path.read_text(encoding="utf-8")):
        SHOWS.setdefault(_found["line"], []).extend(wanted(_found["words"]))
WITH_PYTHON = sorted({block.document for block, _ in ALL if block.language == "python"})


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with nothing but the examples, to run in."""
    for name in ("examples", "docs/examples"):
        if (ROOT / name).exists():
            shutil.copytree(ROOT / name, tmp_path / name)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("TUBWATER_LOGBOOK", str(tmp_path / "logbook.db"))
    return tmp_path


@pytest.mark.parametrize("command", CONSOLES)
def test_a_console_line_ends_as_shown(command: Command, desk: Path) -> None:
    if is_launchers_own(command):
        assert f"    {command.line.split(' #')[0]} " in (ROOT / "run.py").read_text(encoding="utf-8")
        return
    done = subprocess.run([sys.executable, "-m", "tubwater", *command.words], cwd=desk, capture_output=True, text=True)
    assert done.returncode == command.code, done.stderr
    assert "Traceback" not in done.stderr
    said = " ".join(done.stdout.split())
    assert [word for word in SHOWS.get(command.line, ()) if word not in said] == []


@pytest.mark.parametrize("document", [pytest.param(path, id=str(path.relative_to(ROOT))) for path in WITH_PYTHON])
def test_the_python_of_a_document_runs(document: Path, desk: Path) -> None:
    names: dict[str, object] = {"__name__": "document"}
    for block in blocks(document):
        if block.language == "python":
            code = compile("\n" * block.line + block.text, str(document), "exec")
            exec(code, names)


def test_no_console_block_starts_what_never_ends_or_asks() -> None:
    lines = [command.line for block, _ in ALL if block.language == "console" for command in commands(block.text)]
    assert [line for line in lines if {"serve", "account"} & set(words_of(line)) or line == "python3 run.py"] == []


def test_the_readme_shows_the_two_commands() -> None:
    lines = [command.line for block in blocks(ROOT / "README.md") for command in commands(block.text)]
    assert {"python3 run.py demo", "python3 run.py check"} <= set(lines)


def test_an_exit_code_shown_under_a_command_is_expected() -> None:
    found = commands("$ tubwater plan bad.toml\nnot a file\n$ echo $?\n2\n$ tubwater plan good.toml\n")
    assert [(command.words, command.code) for command in found] == [
        (("plan", "bad.toml"), 2),
        (("plan", "good.toml"), 0),
    ]


def test_an_excerpt_keeps_the_paragraphs_that_are_asked_for() -> None:
    output = "Not yet.\n\none\n\ntwo\n\n 3  Add 15 g\n    of acid.\n\nlast\n"
    assert excerpt(output, ["Not yet", "g of acid"]) == "Not yet.\n...\n 3  Add 15 g\n    of acid.\n..."
