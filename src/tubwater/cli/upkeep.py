"""The commands about the shelf, what is due, the calendar and the record."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from datetime import datetime

from tubwater.cli.options import number_of
from tubwater.cli.sheets import written
from tubwater.reports.calendar import DAYS, calendar_file
from tubwater.reports.data import to_json
from tubwater.reports.due import render_due
from tubwater.reports.stock import render_shelf
from tubwater.services.due import Due, due_of_file
from tubwater.services.stock import ShelfReport, shelf_of_file
from tubwater.services.tubfile import TubFile, UnitSystem

__all__ = ["calendar_text", "days_of", "due_text", "shelf_text", "upkeep_answer", "weeks_of"]


def upkeep_answer(words: argparse.Namespace, file: TubFile, now: datetime, units: UnitSystem) -> str:
    """What the command prints.

    Raises:
        InputError: an option that cannot be meant, or a file that cannot be written.
    """
    if words.command == "remind":
        from tubwater.cli.mail import remind_answer

        return remind_answer(words, file, now)
    if words.command == "record":
        from tubwater.cli.record import record_answer

        return record_answer(words, file, now, units)
    work: dict[str, Callable[[argparse.Namespace, TubFile, datetime, UnitSystem], str]] = {
        "shelf": _shelf,
        "due": _due,
        "calendar": _calendar,
    }
    return work[words.command](words, file, now, units)


def _shelf(words: argparse.Namespace, file: TubFile, now: datetime, units: UnitSystem) -> str:
    return shelf_text(words, shelf_of_file(file, now, weeks_of(words), words.seed), units)


def weeks_of(words: argparse.Namespace) -> float:
    """For how many weeks to buy."""
    return number_of("--weeks", words.weeks, 4.0)


def shelf_text(words: argparse.Namespace, report: ShelfReport, units: UnitSystem) -> str:
    """A shelf for a reader or a machine."""
    return to_json(report) + "\n" if words.json else render_shelf(report, units)


def _due(words: argparse.Namespace, file: TubFile, now: datetime, units: UnitSystem) -> str:
    return due_text(words, due_of_file(file, now, days_of(words), words.seed), now)


def days_of(words: argparse.Namespace) -> float:
    """How many days ahead to look."""
    return number_of("--days", words.days, DAYS if words.command == "calendar" else 14.0)


def due_text(words: argparse.Namespace, found: Sequence[Due], now: datetime) -> str:
    """What is due, for a reader or a machine."""
    return to_json(found) + "\n" if words.json else render_due(found, now, days_of(words))


def _calendar(words: argparse.Namespace, file: TubFile, now: datetime, units: UnitSystem) -> str:
    return calendar_text(words, due_of_file(file, now, days_of(words), words.seed), file.tub.name, file.tub.name, now)


def calendar_text(words: argparse.Namespace, found: Sequence[Due], tub: str, name: str, now: datetime) -> str:
    """What is due as a calendar, on the terminal or in the file of ``--out``; ``tub`` names it for good.

    Raises:
        InputError: the file cannot be written.
    """
    if words.json:
        return to_json(found) + "\n"
    content = calendar_file(tub, name, found, now, days_of(words))
    return written(words.out, content) if words.out else content.decode()
