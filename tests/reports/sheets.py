"""What the tests of printed sheets share: letters that the fonts hold, and all texts of some words."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

from fontTools.ttLib import TTFont

import tubwater

__all__ = ["FONTS", "letters", "texts_of"]

FONTS = sorted((Path(tubwater.__file__).parent / "reports" / "fonts").glob("*.ttf"))


@cache
def letters(font: Path) -> frozenset[str]:
    """Every sign that a font can draw."""
    return frozenset(map(chr, TTFont(font).getBestCmap()))


def texts_of(words: Any) -> Iterator[str]:
    """Every text inside the words of a sheet."""
    if isinstance(words, str):
        yield words
    elif isinstance(words, dict):
        for value in words.values():
            yield from texts_of(value)
    elif isinstance(words, list | tuple):
        for value in words:
            yield from texts_of(value)
