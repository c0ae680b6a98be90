"""What the tests of printed sheets share: letters that the fonts hold, and all texts of some words."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import typst
from fontTools.ttLib import TTFont
from numpy.typing import NDArray

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
        yield _pixels(png)[:, :, :3].min(axis=2)


def _pixels(png: bytes) -> NDArray[np.uint8]:
    """A PNG of eight-bit RGBA, its rows unfiltered (W3C, Portable Network Graphics, section 9)."""
    width, height, depth, colour = struct.unpack(">IIBB", png[16:26])
    assert (depth, colour) == (8, 6)
    raw, stride = zlib.decompress(b"".join(_chunks(png))), 4 * width + 1
    rows = [bytes(4 * width)]
    for number in range(height):
        line = raw[number * stride : (number + 1) * stride]
        rows.append(_unfiltered(line[0], line[1:], rows[-1]))
    return np.frombuffer(b"".join(rows[1:]), np.uint8).reshape(height, width, 4)


def _chunks(png: bytes) -> Iterator[bytes]:
    at = 8
    while at < len(png):
        (length,) = struct.unpack(">I", png[at : at + 4])
        if png[at + 4 : at + 8] == b"IDAT":
            yield png[at + 8 : at + 8 + length]
        at += length + 12


def _unfiltered(kind: int, line: bytes, above: bytes) -> bytes:
    row = bytearray(line)
    for i, up in enumerate(above):
        left, corner = (row[i - 4], above[i - 4]) if i >= 4 else (0, 0)
        row[i] = (row[i] + (0, left, up, (left + up) // 2, _paeth(left, up, corner))[kind]) % 256
    return bytes(row)


def _paeth(left: int, up: int, corner: int) -> int:
    guess = left + up - corner
    return min((left, up, corner), key=lambda value: abs(guess - value))
