"""The commands that answer with a sheet: ledger, handout and safety, on the terminal or as PDF."""

from __future__ import annotations

import argparse
from datetime import datetime
from pathlib import Path

from tubwater.errors import InputError, Problem
from tubwater.reports.data import to_json
from tubwater.reports.handout_text import render_handout
from tubwater.reports.handout_words import handout_words
from tubwater.reports.ledger import render_ledger
from tubwater.reports.printed import Paper, handout_pdf, label_pdf, paper_of, safety_pdf
from tubwater.reports.safety_words import render_safety, safety_words
from tubwater.services.contact import Contact
from tubwater.services.handout import Handout, handout_of_file
from tubwater.services.ledger import Ledger, WaterChange, ledger_of_file
from tubwater.services.safety import safety_sheet
from tubwater.services.tubfile import TubFile, UnitSystem
from tubwater.units import Dimension, parse_amount

__all__ = [
    "handout_answer",
    "handout_text",
    "ledger_answer",
    "ledger_text",
    "litres_of",
    "paper_for",
    "safety_answer",
    "written",
]

_PAPERS = {"a4": Paper.A4, "letter": Paper.LETTER}


def ledger_answer(words: argparse.Namespace, file: TubFile, now: datetime, units: UnitSystem) -> str:
    """What has built up, by when to drain, and what a change of ``--change`` would do.

    Raises:
        InputError: the amount to change cannot be meant.
    """
    return ledger_text(words, *ledger_of_file(file, now, litres_of(words.change, file), words.seed), units)


def ledger_text(words: argparse.Namespace, ledger: Ledger, change: WaterChange | None, units: UnitSystem) -> str:
    """A ledger for a reader or a machine."""
    if words.json:
        return to_json({"ledger": ledger, "change": change}) + "\n"
    return render_ledger(ledger, change, units)


def litres_of(text: str | None, file: TubFile) -> float | None:
    """The water to change, L.

    Raises:
        InputError: no amount, or more than the tub holds.
    """
    if text is None:
        return None
    litres = parse_amount(text, "--change", Dimension.VOLUME).to("L")
    if not 0.0 < litres <= file.tub.litres:
        raise InputError.one("--change", text, f"more than nothing and at most {file.tub.litres:g} L")
    return litres


def handout_answer(words: argparse.Namespace, file: TubFile, now: datetime, units: UnitSystem) -> str:
    """The sheet for the owner of a keeper's file; see ``handout_text``."""
    return handout_text(words, handout_of_file(file, now, words.seed), file.contact, units)


def handout_text(words: argparse.Namespace, handout: Handout, usual: Contact, units: UnitSystem) -> str:
    """The sheet for the owner; with ``--out`` as PDF, with ``--label`` the label for the cabinet.

    Args:
        usual: whom the tub's description says to ask; the options go before it.

    Raises:
        InputError: the file cannot be written.
    """
    contact = Contact(words.keeper, words.phone, words.address).over(usual)
    said = handout_words(handout, contact, units)
    if words.out:
        made = label_pdf if words.label else handout_pdf
        return written(words.out, made(said, paper_for(words, units)))
    return to_json(said) + "\n" if words.json else render_handout(said)


def safety_answer(words: argparse.Namespace, file: TubFile | None, now: datetime) -> str:
    """What never to mix; with ``--out`` as PDF.

    Raises:
        InputError: the file cannot be written.
    """
    said = safety_words(safety_sheet(file.shelf if file else None), now.date())
    if words.out:
        units = UnitSystem(words.units) if words.units else file.units if file else UnitSystem.METRIC
        return written(words.out, safety_pdf(said, paper_for(words, units)))
    return to_json(said) + "\n" if words.json else render_safety(said)


def paper_for(words: argparse.Namespace, units: UnitSystem) -> Paper:
    """The paper of ``--paper``, else what is usual with these units."""
    return paper_of(_PAPERS.get(words.paper or ""), units)


def written(name: str, content: bytes) -> str:
    """Writes a file and gives its name as a line.

    Raises:
        InputError: it cannot be written.
    """
    try:
        Path(name).write_bytes(content)
    except OSError as error:
        reason = error.strerror or "an error"
        raise InputError([Problem("--out", f'"{name}" ({reason})', "a file that can be written")]) from None
    return f"{name}\n"
