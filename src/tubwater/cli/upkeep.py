"""The commands about the shelf, what is due, and the calendar."""

from __future__ import annotations

import argparse
from datetime import datetime

from tubwater.errors import InputError
from tubwater.reports.data import to_json
from tubwater.reports.stock import render_shelf
from tubwater.services.stock import shelf_of_file
from tubwater.services.tubfile import TubFile, UnitSystem

__all__ = ["upkeep_answer"]


def upkeep_answer(words: argparse.Namespace, file: TubFile, now: datetime, units: UnitSystem) -> str:
    """What the command prints.

    Raises:
        InputError: an option that cannot be meant.
    """
    report = shelf_of_file(file, now, _weeks(words.weeks), words.seed)
    return to_json(report) + "\n" if words.json else render_shelf(report, units)


def _weeks(text: str | None) -> float:
    try:
        return 4.0 if text is None else float(text)
    except ValueError:
        raise InputError.one("--weeks", text, "a number of weeks from 1 to 26") from None
