"""Verdict and plan as values: kinds, amounts, reasons and expectations. Texts stand in catalogues."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from types import MappingProxyType

from tubwater.facts.quantity import Quantity
from tubwater.tub.reason import Reason

__all__ = [
    "AfterSoak",
    "Amount",
    "BetterTest",
    "Expectation",
    "Outcome",
    "Plan",
    "Step",
    "StepKind",
    "Verdict",
    "VerdictKind",
    "as_kept",
]

_KEPT = ((60.0, 1.0), (120.0, 5.0), (600.0, 15.0), (4320.0, 60.0))  # min: up to how long, in steps of (judgement)
_KEPT_LONG = 720.0  # min, the step of what lasts longer still


class VerdictKind(StrEnum):
    """The three answers."""

    FIT = "fit"
    NOT_YET = "not yet"
    KEEP_OUT = "keep out"


@dataclass(frozen=True)
class Verdict:
    """May people get in?

    Attributes:
        as_of, good_until: the span in which it holds; ``good_until`` is ``as_of`` unless fit.
        people, minutes: how many for how long before the sanitizer would leave its range; 0 unless fit.
        probability_sanitizer, probability_ph: probability that each is inside the bathing limits.
        reasons: why; each kind names a lock, a rule or a caution.
        changes: what would change it.
    """

    kind: VerdictKind
    as_of: datetime
    good_until: datetime
    people: int
    minutes: float
    probability_sanitizer: float
    probability_ph: float
    reasons: tuple[Reason, ...]
    changes: tuple[Reason, ...] = ()


class StepKind(StrEnum):
    """What kind of thing is done."""

    KEEP_OUT = "keep out"
    CHECK = "check"  # a safety or care check made during a wait
    TEST = "test"
    PREPARE = "prepare"  # water warm, pumps on, air off, cover open
    FILL = "fill"
    HEAT = "heat"
    DRAIN = "drain"
    DOSE = "dose"
    WAIT = "wait"
    AERATE = "aerate"
    CLEAN = "clean"
    SET_FEEDER = "set feeder"
    VENT = "vent"
    COVER = "cover"  # close and lock the cover
    HAND_OVER = "hand over"  # what a named person does later, and under which condition the tub is fit
    CALL = "call"
    BUY = "buy"


@dataclass(frozen=True)
class Amount:
    """How much of one product, in grams and in its own measure.

    Attributes:
        product: the keeper's name for it. substance: its key. grams: mass of product, g.
        count, measure: number of the product's own measures (1.5 "scoop"); count 0 where there is none.
        millilitres: for liquids, mL; 0 otherwise.
    """

    product: str
    substance: str
    grams: float
    count: float = 0.0
    measure: str = ""
    millilitres: float = 0.0


@dataclass(frozen=True)
class Expectation:
    """A quantity after a step: median and the 5th and 95th percentile, units of ``Quantity``."""

    quantity: Quantity
    median: float
    low: float
    high: float


@dataclass(frozen=True)
class Step:
    """One thing to do.

    Attributes:
        minutes: how long it takes, min. litres: water moved, L. tablets, opening: the feeder's setting.
        part, parts: which part of a split addition this is.
        expected: readings after the step with their spread. reasons: one line of why it stands here.
        cautions: keys of cautions in the catalogue. optional: may be left out when time is short.
        quantities: for a test, what to read. by: who does it, for a step handed over.
        starts_at: minutes after the plan's begin. task: key of a task of care, done while the step before it runs.
        covered: for a wait, with the cover on. partial: for a fill, it makes up for what was let out: no new water.
    """

    kind: StepKind
    amount: Amount | None = None
    minutes: float = 0.0
    litres: float = 0.0
    tablets: float = 0.0
    opening: float = 0.0
    part: int = 1
    parts: int = 1
    quantities: tuple[Quantity, ...] = ()
    expected: tuple[Expectation, ...] = ()
    reasons: tuple[Reason, ...] = ()
    cautions: tuple[str, ...] = ()
    optional: bool = False
    by: str = ""
    starts_at: float = 0.0
    task: str = ""
    covered: bool = False
    partial: bool = False


def as_kept(minutes: float) -> float:
    """A wait, or how long something takes, min: no finer than anybody keeps it, and never less than it is.

    Up to an hour in minutes, up to two in fives, up to ten in quarters of an hour, up to three days in hours.
    """
    step = next((step for most, step in _KEPT if minutes <= most), _KEPT_LONG)
    return step * math.ceil(minutes / step - 1e-9)


@dataclass(frozen=True)
class AfterSoak:
    """The plan's standing part: what whoever soaked adds afterwards.

    Attributes:
        amount: product per person and half-hour. wait_minutes: before anybody gets in again.
        daily_cap_grams: most product a day, g. test_first_above: person-half-hours above which a test comes first.
    """

    amount: Amount
    wait_minutes: float
    daily_cap_grams: float
    reasons: tuple[Reason, ...] = ()
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True)
class BetterTest:
    """A test that would be worth the trouble: hours a week in band that it is expected to add."""

    quantity: Quantity
    method: str
    hours_per_week: float


@dataclass(frozen=True)
class Outcome:
    """What the plan is expected to bring until the next visit (shares of hours, 0 to 1)."""

    in_band: float
    in_band_without_plan: float
    below_limit: float
    above_limit: float
    band_by_quantity: Mapping[Quantity, float] = field(default_factory=lambda: MappingProxyType({}))


@dataclass(frozen=True)
class Plan:
    """A plan a person can carry out.

    Attributes:
        begins: when the first step starts. situation: key of the situation.
        verdict: before the plan. steps: in order. after_soak: the standing part or None.
        end: expectations at the end of the visit. low_point: before the next visit.
        fit_when: when people may get in and on what evidence. next_visit: when to come back.
        outcome: what it brings. refused: what was asked for and is not done, and why.
        shopping: what is missing. better_tests: worth the trouble, best first.
        horizon: until when ``low_point`` and ``outcome`` look ahead; None for the next visit.
    """

    begins: datetime
    situation: str
    verdict: Verdict
    steps: tuple[Step, ...]
    after_soak: AfterSoak | None
    end: tuple[Expectation, ...]
    low_point: tuple[Expectation, ...]
    fit_when: tuple[Reason, ...]
    next_visit: datetime
    outcome: Outcome | None
    notes: tuple[Reason, ...] = ()
    refused: tuple[Reason, ...] = ()
    shopping: tuple[Reason, ...] = ()
    better_tests: tuple[BetterTest, ...] = ()
    seed: int = 0
    ensemble: int = 0
    horizon: datetime | None = None
