"""The command `outlook`: where the water goes, as it is or with something changed."""

from __future__ import annotations

import argparse
from datetime import datetime

from tubwater.cli.options import number_of, time_of
from tubwater.errors import InputError
from tubwater.reports.data import to_json
from tubwater.reports.outlook import render_outlook
from tubwater.services.outlook import Outlook, Scenario, outlook_for
from tubwater.services.tubfile import TubFile, UnitSystem

__all__ = ["days_ahead", "outlook_answer", "outlook_text", "scenario_of"]

_EXAMPLE = "2026-11-28T20:00"
_DAY_ALONE = len("2026-11-28")
_DAY_SECONDS = 86400.0


def outlook_answer(words: argparse.Namespace, file: TubFile, now: datetime, units: UnitSystem) -> str:
    """What the command prints of a keeper's file.

    Raises:
        InputError: a time, a number or a name that cannot be meant.
    """
    scenario, days = scenario_of(words, now), days_ahead(words)
    found = outlook_for(file.tub, file.shelf, file.events, now, days, scenario, words.seed)
    return outlook_text(words, found, units)


def outlook_text(words: argparse.Namespace, found: Outlook, units: UnitSystem) -> str:
    """An outlook for a reader or a machine."""
    return to_json(found) + "\n" if words.json else render_outlook(found, units)


def days_ahead(words: argparse.Namespace) -> float:
    """How far to look, d."""
    return number_of("--days", words.days, 14.0)


def scenario_of(words: argparse.Namespace, now: datetime) -> Scenario:
    """What the options change.

    Raises:
        InputError: a time or a number that cannot be meant.
    """
    return Scenario(
        party_at=_party(words, now),
        party_people=number_of("--party-people", words.party_people, 0.0),
        party_minutes=number_of("--party-minutes", words.party_minutes, 60.0),
        away_from=_moment("--away-from", words.away_from, now, words),
        away_until=_moment("--away-until", words.away_until, now),
        opening=number_of("--opening", words.opening, None),
        tablets=number_of("--tablets", words.tablets, None),
        test_now=words.test or "",
    )


def _party(words: argparse.Namespace, now: datetime) -> datetime | None:
    if words.party_at and len(words.party_at.strip()) <= _DAY_ALONE:
        raise InputError.one("--party-at", words.party_at, f"a time such as {_EXAMPLE}")
    return _moment("--party-at", words.party_at, now, words)


def _moment(option: str, text: str | None, now: datetime, words: argparse.Namespace | None = None) -> datetime | None:
    """A time after now; with ``words`` one within the days that they look ahead."""
    if text is None:
        return None
    found = time_of(option, text, _EXAMPLE)
    found = found if found.tzinfo else found.replace(tzinfo=now.tzinfo)
    if found < now:
        raise InputError.one(option, text, f"a time after now ({now:%Y-%m-%d %H:%M})")
    if words and (found - now).total_seconds() > days_ahead(words) * _DAY_SECONDS:
        expected = f"a time within the {days_ahead(words):g} days that are looked ahead; --days N looks further"
        raise InputError.one(option, text, expected)
    return found
