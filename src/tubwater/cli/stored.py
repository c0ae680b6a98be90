"""The questions of a keeper's file, asked of a tub in a logbook: with its visits, its waits and its kits."""

from __future__ import annotations

import argparse
from contextvars import copy_context
from dataclasses import dataclass
from datetime import datetime

from tubwater.cli.answers import about_words, now_of, plan_text, verdict_text, water_text
from tubwater.cli.options import Standing
from tubwater.cli.outlook import days_ahead, outlook_text, scenario_of
from tubwater.cli.sheets import handout_text, ledger_text, litres_of, safety_answer
from tubwater.cli.trouble import trouble_of_tub
from tubwater.cli.tubs import refuse_of_a_file
from tubwater.cli.upkeep import calendar_text, days_of, due_text, shelf_text, weeks_of
from tubwater.reports.zone import tell_times_in
from tubwater.services.answers import Answers
from tubwater.services.due import Due
from tubwater.services.keeping import Keeping
from tubwater.services.memory import RandomNames
from tubwater.services.storage import Logbook
from tubwater.services.tubfile import TubFile, UnitSystem
from tubwater.services.upkeep import due_of_tub, shelf_of_tub
from tubwater.services.wishes import Wishes

__all__ = ["stored_answer"]


def stored_answer(words: argparse.Namespace, logbook: Logbook, tub: str) -> str:
    """What the command prints, in the zone of this machine or of ``--now``.

    Raises:
        InputError: an option that cannot be meant, or one that only a file takes.
    """
    refuse_of_a_file(words)
    now = now_of(words.now, exact=True)
    keeping = Keeping(logbook.entries, logbook.snapshots, Standing(now), RandomNames())
    return copy_context().run(_Asked(words, Answers(keeping), logbook, tub, now).told)


@dataclass(frozen=True)
class _Asked:
    words: argparse.Namespace
    answers: Answers
    logbook: Logbook
    tub: str
    now: datetime

    def told(self) -> str:
        """The answer of the command."""
        tell_times_in(self.now.tzinfo)
        file = self.answers.keeping.file(self.tub)
        units = UnitSystem(self.words.units) if self.words.units else file.units
        if self.words.command == "safety":
            return safety_answer(self.words, file, self.now)
        if self.words.command == "remind":
            return self._remind(file)
        if self.words.command in ("shelf", "due", "calendar"):
            return self._upkeep(file, units)
        return self._of_water(file, units)

    def _of_water(self, file: TubFile, units: UnitSystem) -> str:
        words, tub, keeping = self.words, self.tub, self.answers.keeping
        if words.command == "verdict":
            return verdict_text(words, keeping.verdict(tub), units)
        if words.command == "water":
            return water_text(words, keeping.water(tub), units)
        if words.command == "ledger":
            return ledger_text(words, *self.answers.ledger(tub, litres_of(words.change, file)), units)
        if words.command == "handout":
            return handout_text(words, self.answers.handout(tub), file.contact, units)
        if words.command == "outlook":
            ahead = self.answers.outlook(tub, days_ahead(words), scenario_of(words, self.now))
            return outlook_text(words, ahead, units)
        if words.command == "trouble":
            return trouble_of_tub(words, self.answers, tub)
        return plan_text(words, keeping.plan(tub, Wishes(about=about_words(words))), units)

    def _upkeep(self, file: TubFile, units: UnitSystem) -> str:
        words, tub = self.words, self.tub
        if words.command == "shelf":
            return shelf_text(words, shelf_of_tub(self.answers, self.logbook.kits, tub, file, weeks_of(words)), units)
        found = due_of_tub(self.answers, self.logbook.kits, tub, file, days_of(words))
        if words.command == "due":
            return due_text(words, found, self.now)
        return calendar_text(words, found, tub, file.tub.name, self.now)

    def _remind(self, file: TubFile) -> str:
        from tubwater.cli.mail import remind_tub

        def find() -> tuple[Due, ...]:
            return due_of_tub(self.answers, self.logbook.kits, self.tub, file, 1.0)

        return remind_tub(self.words, self.tub, file.tub.name, self.now, find, self.logbook.letters)
