"""What the checks of the checkout read: its files, its documents and their code blocks."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

__all__ = ["Block", "blocks", "documents", "files", "text_files"]

NOT_OURS = re.compile(r"^(\.git|\.venv.*|build|dist|__pycache__|\..*_cache|\.hypothesis|.*\.egg-info)$")
TEXT = frozenset({".py", ".toml", ".md", ".lock", ".csv", ".json", ".txt", ".cfg", ".ini", ".yml", ".yaml", ""})
FENCE = re.compile(r"^```(?P<language>\w*)[^\n]*\n(?P<text>.*?)^```\s*$", re.MULTILINE | re.DOTALL)


@dataclass(frozen=True)
class Block:
    """A fenced block of a document.

    Attributes:
        document: the file it stands in.
        line: the line of its fence, from 1.
        language: what stands behind the opening fence ("python", "console", ...).
        text: what stands between the fences.
    """

    document: Path
    line: int
    language: str
    text: str


def files(root: Path) -> Iterator[Path]:
    """Every file of the checkout, without what tools leave behind."""
    for folder, folders, names in os.walk(root):
        folders[:] = sorted(name for name in folders if not NOT_OURS.match(name))
        yield from (Path(folder, name) for name in sorted(names) if not NOT_OURS.match(name))


def text_files(root: Path) -> Iterator[Path]:
    """The files of the checkout that people write and read."""
    return (path for path in files(root) if path.suffix in TEXT)


def documents(root: Path) -> Iterator[Path]:
    """The Markdown documents of the checkout."""
    return (path for path in files(root) if path.suffix == ".md")


def blocks(document: Path) -> Iterator[Block]:
    """The fenced blocks of a document, in order."""
    text = document.read_text(encoding="utf-8")
    for found in FENCE.finditer(text):
        line = text.count("\n", 0, found.start()) + 1
        yield Block(document, line, found["language"], found["text"])
