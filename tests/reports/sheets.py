"""What the tests of printed sheets share: letters that the fonts hold, and all texts of some words."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import typst
from fontTools.ttLib import TTFont
from numpy.typing import NDArray
from PIL import Image

import tubwater
from tubwater.reports.printed import Paper, _page

__all__ = ["FONTS", "drawn", "letters", "texts_of"]

_COARSE = 20.0  # dots per inch, enough to see where anything is

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


def drawn(name: str, words: Any, paper: Paper) -> Iterator[NDArray[np.uint8]]:
    """Each page of a sheet as a coarse picture: the darkest of red, green and blue, 0 to 255, by row and column."""
    with _page(name, words, paper) as page:
        made: Any = typst.compile(**page, format="png", ppi=_COARSE)
    for png in made if isinstance(made, list) else [made]:
        yield np.asarray(Image.open(BytesIO(png)).convert("RGB")).min(axis=2)
