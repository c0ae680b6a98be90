"""What a keeper leaves with the owner: this tub's bands, its own dose table, the weekly order, and when to stop."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from tubwater.advice import Situation, Wishes, make_plan
from tubwater.advice.care_dates import TESTS, CareDate, care_dates
from tubwater.advice.decide import kit_of
from tubwater.advice.dose_table import Does, DoseRow, dose_table
from tubwater.advice.feeder import just_set
from tubwater.advice.ledger import ledger_of
from tubwater.advice.measures import amount_of, grams_floor
from tubwater.advice.mixing import mixing_factor
from tubwater.facts import CareStep, Guideline, Limits, care_steps, defaults
from tubwater.facts.quantity import Quantity
from tubwater.services.advise import case_of
from tubwater.services.contact import Contact
from tubwater.services.safety import NeverMix, never_mix
from tubwater.services.tubfile import TubFile
from tubwater.tub import AfterSoak, Amount, Event, Plan, Sanitizer, Shelf, StepKind, Tub, TubKind

__all__ = [
    "Contact",
    "Does",
    "DoseRow",
    "Feeder",
    "Handout",
    "SoakDose",
    "handout_for",
    "handout_of",
    "handout_of_file",
]

_SOAKS = ((1, 30.0), (2, 30.0), (2, 60.0), (4, 30.0), (4, 60.0), (6, 120.0))  # people and minutes of the table
_WEEK = 7.0
_AHEAD = timedelta(days=60)
_BANDS = (Quantity.PH, Quantity.TOTAL_ALKALINITY, Quantity.CALCIUM_HARDNESS, Quantity.TEMPERATURE)


@dataclass(frozen=True)
class SoakDose:
    """What goes in after so many people were in for so long; ``capped`` at the day's most, then a test comes first."""

    people: int
    minutes: float
    amount: Amount
    capped: bool


@dataclass(frozen=True)
class Feeder:
    """How the feeder is set."""

    product: str
    tablets: float
    opening: float


@dataclass(frozen=True)
class Handout:
    """The sheet as data, times aware, everything computed for this tub.

    Attributes:
        litres: believed (median), L. most_people: in at a time. bands: what to aim at and what allows bathing.
        doses: the table.
        soaks: doses after a soak of no more people than may be in, empty where none is needed or known.
        after_soak: their rule.
        feeder: None where there are no tablets. mix_minutes, oxidizer_minutes: waits after an addition.
        weekly: care of each week. never: pairs of this shelf that never meet. max_age_hours: how long a test counts.
        situation: of the plan that the after-soak dose comes from.
        dates: rarer care that is due in the next two months. drain_by: when to change the water, None where unknown.
    """

    as_of: datetime
    tub: Tub
    guideline: Guideline
    litres: float
    most_people: int
    sanitizer: Quantity
    bands: tuple[tuple[Quantity, Limits], ...]
    doses: tuple[DoseRow, ...]
    soaks: tuple[SoakDose, ...]
    after_soak: AfterSoak | None
    feeder: Feeder | None
    oxidizer: str
    mix_minutes: float
    oxidizer_minutes: float
    weekly: tuple[CareStep, ...]
    never: tuple[NeverMix, ...]
    max_age_hours: float
    situation: str
    dates: tuple[CareDate, ...] = ()
    drain_by: datetime | None = None


def handout_for(
    tub: Tub, shelf: Shelf, events: Sequence[Event], now: datetime, wishes: Wishes | None = None, seed: int = 0
) -> Handout:
    """The sheet at ``now`` (aware datetime)."""
    return handout_of(case_of(tub, shelf, events, now, seed), wishes, seed)


def handout_of_file(file: TubFile, now: datetime, seed: int = 0) -> Handout:
    """The sheet for a keeper's file."""
    wishes = Wishes(days=file.visit.days_until_next)
    return handout_for(file.tub, file.shelf, file.events, now, wishes, seed)


def handout_of(case: Situation, wishes: Wishes | None = None, seed: int = 0) -> Handout:
    """The sheet for a situation; the dose after a soak and the feeder are those of the plan."""
    plan = make_plan(case, wishes or Wishes(), seed)
    kit = kit_of(case)
    mix = defaults()["mix_minutes"].value * mixing_factor(case.tub)
    slow = kit.oxidizer is not None and kit.oxidizer.substance == "monopersulfate"
    known = [(q, case.guideline.limits[q]) for q in (case.sanitizer_quantity, *_BANDS) if q in case.guideline.limits]
    return Handout(
        as_of=case.now,
        tub=case.tub,
        guideline=case.guideline,
        litres=float(np.median(case.rates.litres)),
        most_people=max(case.most_people, 1),
        sanitizer=case.sanitizer_quantity,
        bands=tuple(known),
        doses=dose_table(case),
        soaks=_soaks(case, plan.after_soak, max(case.most_people, 1)),
        after_soak=plan.after_soak,
        feeder=_feeder(case, plan),
        oxidizer=kit.oxidizer.name if kit.oxidizer else "",
        mix_minutes=mix,
        oxidizer_minutes=case.monopersulfate_minutes if slow else mix,
        weekly=tuple(task for task in care_steps().values() if _is_weekly(task, case.tub)),
        never=never_mix(case.shelf),
        max_age_hours=case.guideline.max_test_age_hours,
        situation=plan.situation,
        dates=tuple(_dates(case)),
        drain_by=found.due if (found := ledger_of(case).drain_by) else None,
    )


def _dates(case: Situation) -> Iterator[CareDate]:
    """Rarer care by its days; what is tested stands in the table."""
    for found in care_dates(case.tub, case.belief.events, case.now):
        rare = found.task.interval_days > _WEEK and found.task.key not in TESTS
        if rare and found.due <= case.now + _AHEAD:
            yield found


def _soaks(case: Situation, rule: AfterSoak | None, most_people: int) -> tuple[SoakDose, ...]:
    if rule is None:
        return ()
    product = next(p for p in case.shelf.products if p.name == rule.amount.product)
    most = grams_floor(product, rule.daily_cap_grams)
    found = []
    for people, minutes in (soak for soak in _SOAKS if soak[0] <= most_people):
        grams = rule.amount.grams * people * minutes / 30.0
        amount = amount_of(product, min(grams, most), down=True)
        found.append(SoakDose(people, minutes, amount, grams > most))
        if grams > most:
            break
    return tuple(found)


def _feeder(case: Situation, plan: Plan) -> Feeder | None:
    """As the plan sets it, or as it was just set, where the plan leaves it so."""
    step = next((s for s in plan.steps if s.kind is StepKind.SET_FEEDER and s.amount), None)
    if step and step.amount:
        return Feeder(step.amount.product, step.tablets, step.opening)
    last = just_set(case)
    return Feeder(last.product, last.tablets, last.opening) if last and last.opening is not None else None


def _is_weekly(task: CareStep, tub: Tub) -> bool:
    has = {
        "always": True,
        "pump": tub.equipment.pump,
        "electric": tub.kind is not TubKind.WOOD_FIRED,
        "cover": tub.equipment.cover,
        "feeder": tub.sanitizer is Sanitizer.BROMINE,
    }
    return task.interval_days <= _WEEK and has[task.condition]
