"""Paragraphs and points for a terminal of 80 columns."""

from __future__ import annotations

import re
import textwrap

__all__ = ["WIDTH", "bullet", "filled", "wrapped"]

WIDTH = 80
_UNIT = re.compile(r"(?<=\d) (?=(?:%|°[CF]|mg/L|k?g|m?L|kW|h|min|ppm|oz|lb|gal)(?![A-Za-z]))")
_STAYS = "\u00a0"


def filled(text: str, first: str = "", rest: str = "") -> str:
    """A paragraph behind margins; between a number and its unit no line ends."""
    kept = _UNIT.sub(_STAYS, text)
    return textwrap.fill(kept, WIDTH, initial_indent=first, subsequent_indent=rest).replace(_STAYS, " ")


def wrapped(text: str) -> str:
    """A paragraph."""
    return filled(text)


def bullet(text: str, mark: str = "- ") -> str:
    """A point of a list, behind ``mark``."""
    return filled(text, "  " + mark, "    ")
