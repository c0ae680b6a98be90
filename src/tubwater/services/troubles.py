"""What may be wrong with a tub that shows signs."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime

from tubwater.advice import Situation
from tubwater.advice import troubles as advice
from tubwater.advice.troubles import Ranked, rank, water_evidence
from tubwater.facts import troubles
from tubwater.services.advise import case_of
from tubwater.services.tubfile import TubFile

__all__ = ["Ranked", "Ranking", "checks_known", "complaints_known", "signs_known", "troubles_of", "troubles_of_file"]


@dataclass(frozen=True)
class Ranking(advice.Ranking):
    """Likely causes, and ``plans``: what a plan can be asked for (keys of purposes), empty for the usual visit."""

    plans: tuple[str, ...] = ()


def signs_known() -> tuple[str, ...]:
    """Keys of all signs and complaints."""
    return (*troubles().signs, *troubles().complaints)


def checks_known() -> tuple[str, ...]:
    """Keys of all checks."""
    return tuple(troubles().checks)


def troubles_of_file(
    file: TubFile,
    now: datetime,
    present: Collection[str],
    absent: Collection[str] = (),
    answers: Mapping[str, bool] | None = None,
    seed: int = 0,
) -> Ranking:
    """Likely causes of what is seen in this water, with the check that tells them best apart.

    Raises:
        UnknownKey: a sign or check that nobody knows.
    """
    return troubles_of(case_of(file.tub, file.shelf, file.events, now, seed), present, absent, answers)


def troubles_of(
    case: Situation, present: Collection[str], absent: Collection[str] = (), answers: Mapping[str, bool] | None = None
) -> Ranking:
    """The same in a situation.

    Raises:
        UnknownKey: a sign or check that nobody knows.
    """
    found = rank(present, absent, answers, water_evidence(case))
    plans = tuple(dict.fromkeys(filter(None, (troubles().plans[sign] for sign in present))))
    if found.complaint:  # people come before the water
        plans = tuple(dict.fromkeys(troubles().plans[key] for key in troubles().complaints))
    return Ranking(found.causes, found.next_check, found.gain, found.complaint, plans)


def complaints_known() -> tuple[str, ...]:
    """Keys of the complaints of people, which get fixed advice."""
    return troubles().complaints
