"""The commands about the shelf, what is due, the calendar and the record."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from datetime import datetime

from tubwater.cli.options import number_of
from tubwater.cli.sheets import written
from tubwater.reports.calendar import DAYS, calendar_file
from tubwater.reports.data import to_json
from tubwater.reports.due import render_due
from tubwater.reports.stock import render_shelf
from tubwater.services.due import due_of_file
from tubwater.services.stock import shelf_of_file
from tubwater.services.tubfile import TubFile, UnitSystem

__all__ = ["upkeep_answer"]


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
    report = shelf_of_file(file, now, number_of("--weeks", words.weeks, 4.0), words.seed)
    return to_json(report) + "\n" if words.json else render_shelf(report, units)


def _due(words: argparse.Namespace, file: TubFile, now: datetime, units: UnitSystem) -> str:
    days = number_of("--days", words.days, 14.0)
    found = due_of_file(file, now, days, words.seed)
    return to_json(found) + "\n" if words.json else render_due(found, now, days)


def _calendar(words: argparse.Namespace, file: TubFile, now: datetime, units: UnitSystem) -> str:
    days = number_of("--days", words.days, DAYS)
    found = due_of_file(file, now, days, words.seed)
    if words.json:
        return to_json(found) + "\n"
    content = calendar_file(file.tub.name, file.tub.name, found, now, days)
    return written(words.out, content) if words.out else content.decode()
