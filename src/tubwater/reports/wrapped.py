"""Paragraphs and points for a terminal of 80 columns."""

from __future__ import annotations

import textwrap

__all__ = ["WIDTH", "bullet", "wrapped"]

WIDTH = 80


def wrapped(text: str) -> str:
    """A paragraph."""
    return textwrap.fill(text, WIDTH)


def bullet(text: str, mark: str = "- ") -> str:
    """A point of a list, behind ``mark``."""
    return textwrap.fill(text, WIDTH, initial_indent="  " + mark, subsequent_indent="    ")
