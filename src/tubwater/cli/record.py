"""The command `record`: what is missing, the sheets of some days, and the record for an inspector."""

from __future__ import annotations

import argparse
from datetime import date, datetime, tzinfo
from functools import partial

from tubwater.cli.answers import now_of
from tubwater.cli.options import Standing
from tubwater.cli.sheets import paper_for, written
from tubwater.cli.tubs import refuse_of_a_file
from tubwater.errors import InputError
from tubwater.reports.data import to_json
from tubwater.reports.printed import record_pdf
from tubwater.reports.record import record_xlsx, render_record
from tubwater.reports.record_words import named_with_role, record_words
from tubwater.services.accounts import Accounts
from tubwater.services.keeping import Keeping
from tubwater.services.memory import RandomNames, SystemClock
from tubwater.services.record import Record, record_of_file
from tubwater.services.recorded import record_of_tub, sign_day
from tubwater.services.storage import Logbook
from tubwater.services.tubfile import TubFile, UnitSystem

__all__ = ["record_answer", "record_of_logbook"]


def record_answer(words: argparse.Namespace, file: TubFile, now: datetime, units: UnitSystem) -> str:
    """The record of a keeper's file; with ``--out`` as PDF or XLSX.

    Raises:
        InputError: days that cannot be meant, a file that cannot be written, or a signature: the file holds its own.
    """
    if words.sign:
        raise InputError.one("--sign", words.sign, "no FILE with it: a tub of the logbook is asked without one")
    return _printed(words, record_of_file(file, now, *_span(words)), units, now.tzinfo)


def record_of_logbook(words: argparse.Namespace, logbook: Logbook, tub: str, accounts: Accounts) -> str:
    """The record of a tub in a logbook, in the zone of this machine or of ``--now``; ``accounts`` name who entered it.

    With ``--sign`` the sheet of the day is signed before, as of this moment whatever ``--now`` says.

    Raises:
        InputError: days that cannot be meant, or a file that cannot be written.
    """
    refuse_of_a_file(words)
    if words.sign:
        _sign(words, Keeping(logbook.entries, logbook.snapshots, SystemClock(), RandomNames()), tub)
    now = now_of(words.now, exact=True)
    keeping = Keeping(logbook.entries, logbook.snapshots, Standing(now), RandomNames())
    record = record_of_tub(keeping, logbook.kits, tub, *_span(words), called=partial(named_with_role, accounts, tub))
    return _printed(words, record, UnitSystem(words.units) if words.units else keeping.file(tub).units, now.tzinfo)


def _sign(words: argparse.Namespace, keeping: Keeping, tub: str) -> None:
    """Signs one day: that of ``--day``, or today."""
    first, last = _span(words)
    if first != last:
        raise InputError.one("--sign", words.sign, "one day, by --day; today where none is said")
    day = (first or keeping.clock.now().astimezone().date()).isoformat()
    said = {"day": day, "name": words.sign, "bathers": words.bathers, "remark": words.remark}
    sign_day(keeping, tub, {key: value for key, value in said.items() if value is not None})


def _printed(words: argparse.Namespace, record: Record, units: UnitSystem, zone: tzinfo | None) -> str:
    """A record as text or JSON, or written into the file of ``--out``."""
    if words.json:
        return to_json(record) + "\n"
    said = record_words(record, lambda at: at.astimezone(zone), units)
    if not words.out:
        return render_record(said)
    if words.out.lower().endswith(".pdf"):
        return written(words.out, record_pdf(said, paper_for(words, units)))
    if words.out.lower().endswith(".xlsx"):
        return written(words.out, record_xlsx(said))
    raise InputError.one("--out", words.out, "a name that ends in .pdf or .xlsx")


def _span(words: argparse.Namespace) -> tuple[date | None, date | None]:
    """The first and the last day."""
    day = _day("--day", words.day)
    if day and (words.first or words.last):
        raise InputError.one("--day", words.day, "either one day or --from and --until")
    return (day, day) if day else (_day("--from", words.first), _day("--until", words.last))


def _day(option: str, text: str | None) -> date | None:
    try:
        return date.fromisoformat(text) if text else None
    except ValueError:
        raise InputError.one(option, text, "a day, such as 2026-11-20") from None
