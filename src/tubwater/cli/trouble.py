"""The command `trouble`: likely causes of what is seen, and the check that tells them apart."""

from __future__ import annotations

import argparse
from datetime import datetime

from tubwater.errors import InputError
from tubwater.reports.data import to_json
from tubwater.reports.troubles import render_ranking
from tubwater.services.answers import Answers
from tubwater.services.troubles import Ranking, checks_known, signs_known, troubles_of, troubles_of_file
from tubwater.services.tubfile import TubFile

__all__ = ["trouble_answer", "trouble_of_tub"]


def trouble_answer(words: argparse.Namespace, file: TubFile, now: datetime) -> str:
    """What the command prints of a keeper's file.

    Raises:
        InputError: no sign, or a sign or check that nobody knows.
    """
    checked = _checked(words)
    return _text(words, troubles_of_file(file, now, words.sign, words.absent, checked, words.seed))


def trouble_of_tub(words: argparse.Namespace, answers: Answers, tub: str) -> str:
    """What the command prints of a tub in the logbook.

    Raises:
        InputError: no sign, or a sign or check that nobody knows. UnknownEntry: no such tub.
    """
    checked = _checked(words)
    return _text(words, troubles_of(answers.case(tub), words.sign, words.absent, checked))


def _text(words: argparse.Namespace, ranking: Ranking) -> str:
    return to_json(ranking) + "\n" if words.json else render_ranking(ranking)


def _checked(words: argparse.Namespace) -> dict[str, bool]:
    """The signs and answers of the command line; every unknown one is told with those that are known."""
    for option, given in (("--sign", words.sign), ("--not", words.absent)):
        for sign in given:
            if sign not in signs_known():
                raise InputError.one(option, sign, f"one of {', '.join(signs_known())}")
    if not words.sign:
        raise InputError.one("--sign", "nothing", f"one of {', '.join(signs_known())}")
    found = {}
    for text in words.check:
        name, _, answer_text = text.partition("=")
        if name not in checks_known() or answer_text not in ("yes", "no"):
            raise InputError.one("--check", text, f"yes or no for one of {', '.join(checks_known())}")
        found[name] = answer_text == "yes"
    return found
