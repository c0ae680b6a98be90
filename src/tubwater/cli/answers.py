"""Each command's answer as text. Loads the use cases, which the parser does not, so that help comes at once."""

from __future__ import annotations

import argparse
import sys
from datetime import datetime
from typing import Any

from tubwater.cli.options import time_of
from tubwater.cli.tubs import refuse_a_logbook
from tubwater.cli.upkeep_words import UPKEEP_COMMANDS
from tubwater.errors import InputError, UnknownKey
from tubwater.reports.data import to_json
from tubwater.reports.plain import render_plan, render_verdict, render_why
from tubwater.reports.refusals import refusal
from tubwater.reports.tables import render_guidelines, render_methods, render_substances
from tubwater.reports.text import text_of
from tubwater.reports.water import render_water
from tubwater.services.about import About, about_of, said_of
from tubwater.services.advise import WaterReport
from tubwater.services.ask import plan_of_file, verdict_of_file, water_of_file
from tubwater.services.lookup import all_guidelines, all_methods, all_substances
from tubwater.services.tubfile import TubFile, UnitSystem, example_text, parse_tub_file, read_tub_file
from tubwater.tub import Plan, Verdict

__all__ = ["about_words", "answer", "now_of", "plan_text", "verdict_text", "water_text"]


def answer(words: argparse.Namespace) -> str:
    """What a command prints.

    Raises:
        InputError: the file, an option or the time cannot be meant.
    """
    command = words.command
    refuse_a_logbook(words)
    if command == "example":
        return example_text()
    if command in ("substances", "methods", "guidelines"):
        return _facts(command, words.json)
    now = now_of(words.now)
    if command == "safety":
        from tubwater.cli.sheets import safety_answer

        return safety_answer(words, read_tub_file(words.file, now) if words.file else None, now)
    file = parse_tub_file(example_text(), now) if command == "demo" else read_tub_file(words.file, now, _tests(words))
    _ask(file)
    return _of_file(words, file, now if words.now else file.visit.now or now)


def _facts(command: str, as_json: bool) -> str:
    if command == "substances":
        return to_json(all_substances()) + "\n" if as_json else render_substances(all_substances())
    if command == "methods":
        return to_json(all_methods()) + "\n" if as_json else render_methods(all_methods())
    return to_json(all_guidelines()) + "\n" if as_json else render_guidelines(all_guidelines())


def _of_file(words: argparse.Namespace, file: TubFile, now: datetime) -> str:
    units = UnitSystem(words.units) if words.units else file.units
    if words.command == "verdict":
        return verdict_text(words, verdict_of_file(file, now, words.seed), units)
    if words.command == "water":
        return water_text(words, water_of_file(file, now, words.seed), units)
    if words.command == "ledger":
        from tubwater.cli.sheets import ledger_answer

        return ledger_answer(words, file, now, units)
    if words.command == "handout":
        from tubwater.cli.sheets import handout_answer

        return handout_answer(words, file, now, units)
    if words.command == "outlook":
        from tubwater.cli.outlook import outlook_answer

        return outlook_answer(words, file, now, units)
    if words.command in UPKEEP_COMMANDS:
        from tubwater.cli.upkeep import upkeep_answer

        return upkeep_answer(words, file, now, units)
    if words.command == "trouble":
        from tubwater.cli.trouble import trouble_answer

        return trouble_answer(words, file, now)
    return plan_text(words, plan_of_file(file, now, words.seed, about_words(words)), units)


def verdict_text(words: argparse.Namespace, verdict: Verdict, units: UnitSystem) -> str:
    """A verdict for a reader or a machine."""
    return to_json(verdict) + "\n" if words.json else render_verdict(verdict, units)


def water_text(words: argparse.Namespace, water: WaterReport, units: UnitSystem) -> str:
    """What the water is, for a reader or a machine."""
    return to_json(water) + "\n" if words.json else render_water(water, units)


def plan_text(words: argparse.Namespace, plan: Plan, units: UnitSystem) -> str:
    """A plan, or the reasons of one or all of its steps.

    Raises:
        InputError: it has no such step.
    """
    if words.json:
        return to_json(plan) + "\n"
    if words.command != "why":
        return render_plan(plan, units)
    if words.step is not None and not 1 <= words.step <= len(plan.steps):
        raise InputError.one("--step", words.step, f"a step from 1 to {len(plan.steps)}")
    return render_why(plan, units, words.step)


def about_words(words: argparse.Namespace) -> About | None:
    """What the plan is asked for, with what was said of it."""
    key, said = getattr(words, "about", None), getattr(words, "say", [])
    if key is None and said:
        raise InputError.one("--say", said[0], "--about with what the plan is for")
    for text in said:
        if not all(part.strip() for part in text.partition("=")):
            raise InputError.one("--say", text, "a name and a value, such as days=3")
    try:
        return None if key is None else about_of(key, said_of(said))
    except UnknownKey as error:
        near = f"; did you mean {' or '.join(error.nearest)}" if error.nearest else ""
        raise InputError.one("--about", key, f"one of {', '.join(error.known)}{near}") from None


def now_of(text: str | None, exact: bool = False) -> datetime:
    """The time of ``--now``, or the minute that it is, with an offset.

    Args:
        exact: not the minute but the moment, which no entry of the logbook may be after.

    Raises:
        InputError: it is no time.
    """
    if text is None:
        now = datetime.now().astimezone()
        return now if exact else now.replace(second=0, microsecond=0)
    found = time_of("--now", text, "2026-11-20T09:00:00+01:00")
    return found if found.tzinfo else found.astimezone()


def _tests(words: argparse.Namespace) -> list[dict[str, Any]]:
    """The readings of the command line, as a table of a file would hold them."""
    if not words.read:
        for option, given in (("--with", words.method), ("--scale", words.scale)):
            if given:
                raise InputError.one(option, given, "--read with what was read")
        return []
    table: dict[str, Any] = {"method": words.method} if words.method else {}
    table |= {"scale": words.scale} if words.scale else {}
    for text in words.read:
        name, mark, value = text.partition("=")
        if not mark or not value.strip():
            raise InputError.one("--read", text, "a name and a value, such as bromine=3 or pH=7.8")
        table[name.strip()] = value.strip()
    return [table]


def _ask(file: TubFile) -> None:
    """Unlikely entries were kept; the keeper is asked."""
    for question in file.questions:
        values = {"given": refusal(question.given), "expected": refusal(question.expected)}
        print(f"tubwater: {text_of('refused', 'check', {'field': question.field, **values})}", file=sys.stderr)
