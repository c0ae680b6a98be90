"""Runs the commands of the documents and writes their real output under them.

`python tools/make_outputs.py [DOCUMENT ...]`; without a name all of them.

A block that stands under `<!-- shows: first words | other words -->` shows the paragraphs of the output that hold
any of the words, with "..." for what is left out. Other blocks stay as they are.
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

from checkout import documents

__all__ = ["SHOWN", "excerpt", "main", "refreshed", "wanted"]

ROOT = Path(__file__).resolve().parent.parent
SHOWN = re.compile(
    r"^<!-- shows: (?P<words>.+?) -->\n```console\n\$ (?P<line>[^\n]+)\n(?P<text>.*?)^```$", re.MULTILINE | re.DOTALL
)
LEFT_OUT = "..."


def wanted(words: str) -> list[str]:
    """The words of a comment."""
    return [word.strip() for word in words.split("|")]


def excerpt(output: str, words: list[str]) -> str:
    """The paragraphs that hold any of the words, in their order."""
    kept: list[str] = []
    for paragraph in output.strip("\n").split("\n\n"):
        plain = " ".join(paragraph.split())
        shown = paragraph if any(word in plain for word in words) else LEFT_OUT
        if shown != LEFT_OUT or kept[-1:] != [LEFT_OUT]:
            kept.append(shown)
    return "\n\n".join(kept).replace(f"\n\n{LEFT_OUT}", f"\n{LEFT_OUT}").replace(f"{LEFT_OUT}\n\n", f"{LEFT_OUT}\n")


def refreshed(text: str) -> str:
    """A document with the output of today."""
    return SHOWN.sub(lambda found: block(found["words"], found["line"]), text)


def block(words: str, line: str) -> str:
    """A block with its output."""
    return f"<!-- shows: {words} -->\n```console\n$ {line}\n{excerpt(ran(line), wanted(words))}\n```"


def ran(line: str) -> str:
    """What a command prints."""
    command = [sys.executable, "-m", "tubwater", *shlex.split(line)[1:]]
    environment = dict(os.environ, PYTHONPATH=str(ROOT / "src"))
    return subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, check=True).stdout


def stale(chosen: list[Path]) -> Iterator[tuple[Path, str]]:
    """The documents whose output has changed, as they should be."""
    for document in chosen or documents(ROOT):
        text = document.read_text(encoding="utf-8")
        if (new := refreshed(text)) != text:
            yield document, new


def main(arguments: list[str]) -> int:
    """Writes every output anew, or those of the documents named, and says what changed."""
    for document, new in stale([Path(name).resolve() for name in arguments]):
        document.write_text(new, encoding="utf-8")
        print(document.relative_to(ROOT), flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
