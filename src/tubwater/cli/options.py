"""Values of options that several commands read."""

from __future__ import annotations

from typing import TypeVar

from tubwater.errors import InputError

__all__ = ["number_of"]

_Default = TypeVar("_Default", float, None)


def number_of(option: str, text: str | None, default: _Default) -> float | _Default:
    """The number that an option was given, ``default`` where it was left out.

    Raises:
        InputError: it is no number.
    """
    if text is None:
        return default
    try:
        return float(text)
    except ValueError:
        raise InputError.one(option, text, "a number") from None
