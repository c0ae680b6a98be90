"""Values of options that several commands read."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TypeVar

from tubwater.errors import InputError, Problem

__all__ = ["Standing", "as_typed", "number_of", "time_of"]

_YEARS = range(1970, 3000)  # near the ends of the calendar no day can be added or taken away

_TYPED_AS: Mapping[str, tuple[str, str]] = {  # what a use case calls it -> where the parser keeps it, the option
    "away_until": ("away_until", "--away-until"),
    "horizon_days": ("days", "--days"),
    "days": ("days", "--days"),
    "weeks": ("weeks", "--weeks"),
    "party_people": ("party_people", "--party-people"),
    "party_minutes": ("party_minutes", "--party-minutes"),
    "opening": ("opening", "--opening"),
    "tablets": ("tablets", "--tablets"),
    "test_now": ("test", "--test"),
    "from": ("first", "--from"),
    "until": ("last", "--until"),
}
_DAYS = ("from", "until")  # which `--day` gives both

_Default = TypeVar("_Default", float, None)


@dataclass(frozen=True)
class Standing:
    """A clock that shows one time for a whole command."""

    at: datetime

    def now(self) -> datetime:
        """That time."""
        return self.at


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


def time_of(option: str, text: str, example: str) -> datetime:
    """The time that an option was given, as aware as it was written; ``example`` is one that would do.

    Raises:
        InputError: it is no time, or of no year that can be meant.
    """
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        raise InputError.one(option, text, f"a time such as {example}") from None
    if found.year not in _YEARS:
        raise InputError.one(option, text, f"a time of the years {_YEARS[0]} to {_YEARS[-1]}, such as {example}")
    return found


def as_typed(problem: Problem, words: argparse.Namespace) -> Problem:
    """The problem with the option that it is about, where it is about one."""
    if any(text.partition("=")[0].strip() == problem.field for text in getattr(words, "say", [])):
        return replace(problem, field=f"--say {problem.field}")
    if problem.field in _DAYS and getattr(words, "day", None) is not None:
        return replace(problem, field="--day")
    kept, option = _TYPED_AS.get(problem.field, ("", ""))
    return replace(problem, field=option) if option and getattr(words, kept, None) is not None else problem
