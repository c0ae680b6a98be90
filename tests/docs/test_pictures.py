"""The pictures of the tutorial: what the tool writes is a picture, and the pictures have the width of a phone."""

from __future__ import annotations

import struct
import zlib
from pathlib import Path

import numpy as np
import pytest

from make_pictures import few_colours, written

PICTURES = sorted((Path(__file__).resolve().parents[2] / "docs" / "pictures").glob("*.png"))
SIGNATURE = b"\x89PNG\r\n\x1a\n"


def chunks(picture: bytes) -> dict[bytes, bytes]:
    """The parts of a PNG by name, each with its checksum looked at."""
    assert picture.startswith(SIGNATURE)
    found, at = {}, len(SIGNATURE)
    while at < len(picture):
        (size,) = struct.unpack(">I", picture[at : at + 4])
        name, content = picture[at + 4 : at + 8], picture[at + 8 : at + 8 + size]
        assert struct.unpack(">I", picture[at + 8 + size : at + 12 + size]) == (zlib.crc32(name + content),)
        found[name], at = content, at + 12 + size
    return found


def test_a_picture_of_few_colours_is_kept_as_it_is() -> None:
    pixels = np.array(
        [[250, 246, 238], [20, 20, 20], [250, 246, 238], [150, 60, 20], [20, 20, 20], [0, 0, 0]], np.uint8
    )
    palette, index = few_colours(pixels)
    assert (palette[index] == pixels).all()
    parts = chunks(written(3, 2, palette, index))
    rows = np.frombuffer(zlib.decompress(parts[b"IDAT"]), np.uint8).reshape(2, 4)
    assert (rows[:, 0] == 0).all() and (palette[rows[:, 1:].reshape(-1)] == pixels).all()


def test_many_colours_become_near_ones() -> None:
    grey = np.repeat(np.arange(256, dtype=np.uint8)[:, None], 3, axis=1)
    palette, index = few_colours(grey)
    assert len(palette) <= 32 and np.abs(palette[index].astype(int) - grey).max() <= 16


@pytest.mark.parametrize("path", [pytest.param(path, id=path.name) for path in PICTURES])
def test_a_picture_has_the_width_of_a_phone(path: Path) -> None:
    width, height, depth, kind, *_ = struct.unpack(">IIBBBBB", chunks(path.read_bytes())[b"IHDR"])
    assert (width, depth, kind) == (780, 8, 3) and height > width
