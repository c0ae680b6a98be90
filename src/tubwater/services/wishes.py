"""What a keeper says of a visit, from a face."""

from __future__ import annotations

from tubwater.advice import Wishes
from tubwater.errors import InputError

__all__ = ["Wishes", "wishes_of"]


def wishes_of(minutes: float | None = None, days: float = 7.0, later_by: str = "") -> Wishes:
    """The wishes of a visit: minutes that the keeper stays (None for as long as it takes), days until the next.

    Raises:
        InputError: out of range.
    """
    if minutes is not None and not 1.0 <= minutes <= 1440.0:
        raise InputError.one("minutes", minutes, "minutes from 1 to 1440")
    if not 0.25 <= days <= 60.0:
        raise InputError.one("days", days, "days from 0.25 to 60")
    if len(later_by) > 100 or not later_by.isprintable():
        raise InputError.one("later_by", f"{len(later_by)} characters", "a name of at most 100 printable characters")
    return Wishes(minutes=minutes, days=days, later_by=later_by)
