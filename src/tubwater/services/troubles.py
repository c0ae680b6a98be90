"""What may be wrong with a tub that shows signs."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import datetime

from tubwater.advice import Situation
from tubwater.advice.troubles import Ranked, Ranking, rank, water_evidence
from tubwater.facts import troubles
from tubwater.services.advise import case_of
from tubwater.services.tubfile import TubFile

__all__ = ["Ranked", "Ranking", "checks_known", "complaints_known", "signs_known", "troubles_of", "troubles_of_file"]


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
    return rank(present, absent, answers, water_evidence(case))


def complaints_known() -> tuple[str, ...]:
    """Keys of the complaints of people, which get fixed advice."""
    return troubles().complaints
