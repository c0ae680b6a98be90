"""What is left on the shelf, how fast it goes, and until when it lasts.

A stock was counted once and runs down with the doses of the logbook; tablets go when the feeder is filled up.  The use
of a product is that of the last weeks.  Its spread takes the doses for a Poisson process of unequal amounts, scaled to
one of equal amounts with the same mean and variance (from memory: the usual approximation of a compound Poisson sum),
with the Jeffreys prior for its rate.  Where nothing was logged, the use is what the plan asks for.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from tubwater.advice.evenings import usual_use
from tubwater.advice.now import Situation, substance_of
from tubwater.dynamics import FULL_TABLET_GRAMS
from tubwater.facts import Role, defaults
from tubwater.tub import Dosed, FeederSet, Package, Plan, Product, Soaked, Step, StepKind

__all__ = [
    "WINDOW_DAYS",
    "Lasts",
    "Left",
    "Range",
    "Use",
    "lasts",
    "left_of",
    "log_weeks",
    "soaks_per_week",
    "taken_from_shelf",
    "use_of",
]

Array = NDArray[np.float64]
WINDOW_DAYS = 56.0  # whose use counts for the coming weeks (judgement)
_ENOUGH_WEEKS = 2.0  # of a logbook before its own use counts (judgement)
_ENOUGH_FEEDER_WEEKS = 1.0  # with a known filling before what it gave off counts (judgement)
_DRAWS = 4000
_SURE = 1.645  # standard deviations from the middle to the 5th and 95th percentile of a normal spread
_MEMBERS = 200
_FURTHEST_DAYS = 3650.0
_EVERY_WEEK = frozenset({Role.OXIDIZER, Role.CHLORINE_DOSE, Role.SLOW_BROMINE, Role.SLOW_CHLORINE})


@dataclass(frozen=True)
class Range:
    """An expected value, and the 5th and 95th percentile."""

    value: float
    low: float
    high: float


_NOTHING = Range(0.0, 0.0, 0.0)


@dataclass(frozen=True)
class Left:
    """What is left of a product.

    Attributes:
        grams: g, or None where it was never counted. basis: "counted", "opened" (a full package then), "as-stated"
            (now) or "unknown". since: when that was. used: logged since then, g. over: g logged beyond what there was.
    """

    grams: Range | None
    basis: str
    since: datetime | None
    used: float = 0.0
    over: float = 0.0


@dataclass(frozen=True)
class Use:
    """How fast a product goes.

    Attributes:
        per_week: g. basis: "logged", "feeder" (what the tablets gave off), "planned", "once" (a correction that the
            plan asks for, which says nothing of other weeks) or "unknown". once: what it asks for then, g.
        doses: logged in the window. weeks: how long the window is. dose: of equal amounts with the same mean and
            variance, g.
    """

    per_week: Range
    basis: str
    doses: int = 0
    weeks: float = 0.0
    dose: float = 0.0
    once: float = 0.0

    @property
    def known(self) -> bool:
        """Whether it says how fast the product goes."""
        return self.basis not in ("unknown", "once")


@dataclass(frozen=True)
class Lasts:
    """Until when a stock lasts: expected, 5th and 95th percentile; None where it cannot be told or over ten years."""

    until: datetime | None
    earliest: datetime | None
    latest: datetime | None


def log_weeks(case: Situation) -> float:
    """How many weeks of the logbook count, 0 to 8."""
    first = min((event.at for event in case.belief.events), default=case.now)
    return float(min((case.now - first) / timedelta(days=7), WINDOW_DAYS / 7.0))


def left_of(case: Situation, product: Product) -> Left:
    """What is left, never below nothing; a measure's spread is taken as the same in every dose."""
    at, grams, basis = _counted(product, case.now)
    if at is None:
        return Left(None, "unknown", None)
    doses = [e for e in case.belief.events if isinstance(e, Dosed) and e.product == product.name and at <= e.at]
    drawn = _drawn(case, product, at)
    used = sum(dose.grams * (1.0 if dose.certain else 0.5) for dose in doses) + float(np.mean(drawn))
    unsure = sum(dose.grams * dose.spread for dose in doses)
    unsure = np.hypot(unsure, 0.5 * np.sqrt(sum(dose.grams**2 for dose in doses if not dose.certain)))
    unsure = float(np.hypot(unsure, np.std(drawn)))
    ends = (max(grams - used + sign * _SURE * unsure, 0.0) for sign in (-1.0, 1.0))
    return Left(Range(max(grams - used, 0.0), *ends), basis, at, used, max(used - grams, 0.0))


def _counted(product: Product, now: datetime) -> tuple[datetime | None, float, str]:
    """When there was how much: as counted, or a full package on the day of opening."""
    package: Package = product.package
    if product.stock_grams is not None:
        return package.counted or now, product.stock_grams, "counted" if package.counted else "as-stated"
    if package.opened is not None and package.grams is not None:
        return datetime.combine(package.opened, time(), now.tzinfo or UTC), package.grams, "opened"
    return None, 0.0, "unknown"


def _is_slow(product: Product) -> bool:
    return bool(substance_of(product).roles & {Role.SLOW_BROMINE, Role.SLOW_CHLORINE})


def _feeders(case: Situation, product: Product) -> list[FeederSet]:
    return [e for e in case.belief.events if isinstance(e, FeederSet) and e.product == product.name]


def _drawn(case: Situation, product: Product, since: datetime) -> Array:
    """Tablets that went from the shelf into the feeder since a time, g by member: what filled up what was left.

    What was in the feeder at the first entry is not known to come from this stock and does not count.
    """
    found = np.zeros(1)
    feeders = _feeders(case, product)
    for before, after in pairwise(feeders):
        if after.at >= since:
            rest = _tablets(case, product, before, after.at)
            found = found + np.maximum(after.tablets * _tablet_grams(product) - rest, 0.0)
    return found


def taken_from_shelf(case: Situation, step: Step) -> float:
    """Grams that a step takes from the shelf: a dose all of it, a feeder what fills up its rest."""
    amount = step.amount
    if amount is None or step.kind not in (StepKind.DOSE, StepKind.SET_FEEDER):
        return 0.0
    product = next((p for p in case.shelf.products if p.name == amount.product), None)
    settings = _feeders(case, product) if product and step.kind is StepKind.SET_FEEDER else []
    rest = float(np.mean(_tablets(case, product, settings[-1], case.now))) if product and settings else 0.0
    return max(amount.grams - rest, 0.0)


def _tablet_grams(product: Product) -> float:
    return product.tablet_grams or defaults()["tablet_grams"].value


def _tablets(case: Situation, product: Product, setting: FeederSet, at: datetime) -> Array:
    """What is left of a feeder's filling at a time, g by member: the release law of the dynamics, integrated."""
    rates = case.belief.thinned(_MEMBERS).rates
    full = setting.tablets * _tablet_grams(product)
    if full <= 0.0:
        return np.zeros(rates.litres.shape)
    opening = 0.5 if setting.opening is None else setting.opening
    hours = (at - setting.at) / timedelta(hours=1)
    gone = rates.release / FULL_TABLET_GRAMS * opening * hours  # of the full mass, if it went on as at first
    power = 1.0 - np.minimum(rates.release_exponent, 0.999)
    left: Array = full * np.maximum(1.0 - power * gone, 0.0) ** (1.0 / power)
    return left


def use_of(case: Situation, product: Product, plan: Plan | None, rng: np.random.Generator) -> Use:
    """How fast a product goes from now on; without a plan only what was logged counts."""
    weeks = log_weeks(case)
    if weeks >= _ENOUGH_WEEKS:
        found = _released(case, product, weeks) if _is_slow(product) else _logged(case, product, weeks, rng)
        if found is not None:
            return found
    return _planned(case, product, plan, weeks) if plan else Use(_NOTHING, "unknown", weeks=weeks)


def _logged(case: Situation, product: Product, weeks: float, rng: np.random.Generator) -> Use | None:
    start = case.now - timedelta(weeks=weeks)
    mine = [e for e in case.belief.events if isinstance(e, Dosed) and e.product == product.name and e.at >= start]
    grams = np.array([dose.grams * (1.0 if dose.certain else 0.5) for dose in mine])
    if not grams.any():
        return None
    dose = float(np.sum(grams**2) / np.sum(grams))
    rates = dose * rng.gamma(np.sum(grams) / dose + 0.5, 1.0 / weeks, _DRAWS)
    low, high = np.quantile(rates, (0.05, 0.95))
    value = float(grams.sum() / weeks)
    return Use(Range(value, min(float(low), value), max(float(high), value)), "logged", len(mine), weeks, dose)


def _released(case: Situation, product: Product, weeks: float) -> Use | None:
    """What the tablets gave off in the part of the window with a known filling, by member."""
    start, feeders = case.now - timedelta(weeks=weeks), _feeders(case, product)
    ends = [*(setting.at for setting in feeders[1:]), case.now]
    spans = [(s, max(s.at, start), end) for s, end in zip(feeders, ends, strict=False) if end > start]
    known = sum((end - begin for _, begin, end in spans), timedelta()) / timedelta(weeks=1)
    if known < _ENOUGH_FEEDER_WEEKS:
        return None
    gone = sum(_tablets(case, product, s, begin) - _tablets(case, product, s, end) for s, begin, end in spans)
    per_week = np.asarray(gone) / known
    low, high = np.quantile(per_week, (0.05, 0.95))
    return Use(Range(float(per_week.mean()), float(low), float(high)), "feeder", len(spans), known)


def _planned(case: Situation, product: Product, plan: Plan, weeks: float) -> Use:
    """What the plan asks for: oxidizer, feeder and doses after soaks every week, what corrects the water once."""
    kinds = (StepKind.DOSE, StepKind.SET_FEEDER)
    doses = [s.amount.grams for s in plan.steps if s.kind in kinds and s.amount and s.amount.product == product.name]
    after = plan.after_soak
    soaks = after.amount.grams if after and after.amount.product == product.name else 0.0
    if sum(doses) + soaks <= 0.0:
        return Use(_NOTHING, "unknown", weeks=weeks)
    if not substance_of(product).roles & _EVERY_WEEK:
        return Use(_NOTHING, "once", weeks=weeks, once=sum(doses))
    until = plan.horizon or plan.next_visit  # where a test brings somebody back sooner, the dose still is for longer
    span = max((until - plan.begins) / timedelta(days=7), 1.0 / 7.0)
    per_week = sum(doses) / span + soaks * _half_hours_per_week(case)
    return Use(Range(per_week, per_week, per_week), "planned", weeks=weeks)


def soaks_per_week(case: Situation) -> tuple[float, str]:
    """Soaks a week, "from-log" once it is long enough, else "as-stated" or "usual"."""
    weeks, start = log_weeks(case), case.now - timedelta(days=WINDOW_DAYS)
    soaks = sum(isinstance(e, Soaked) and e.at >= start for e in case.belief.events)
    if weeks >= _ENOUGH_WEEKS and soaks:
        return soaks / weeks, "from-log"
    return usual_use(case.tub)[0], "usual" if case.tub.soaks_per_week is None else "as-stated"


def _half_hours_per_week(case: Situation) -> float:
    """Person-half-hours a week, as stated or usual."""
    _, people, minutes = usual_use(case.tub)
    return soaks_per_week(case)[0] * people * minutes / 30.0


def lasts(left: Left, use: Use, now: datetime, rng: np.random.Generator) -> Lasts:
    """Until when the stock lasts; the spread holds that of the use, of the doses to come and of the stock."""
    if left.grams is None or not use.known or use.per_week.value <= 0.0:
        return Lasts(None, None, None)
    weeks = left.grams.value / use.per_week.value
    if use.basis == "logged":
        low, high = _weeks_of_doses(left.grams, use, rng)
    else:
        low = left.grams.low / max(use.per_week.high, 1e-9)
        high = left.grams.high / max(use.per_week.low, 1e-9)
    return Lasts(*(_at(now, w) for w in (weeks, min(low, weeks), max(high, weeks))))


def _weeks_of_doses(left: Range, use: Use, rng: np.random.Generator) -> tuple[float, float]:
    """5th and 95th percentile of the weeks until as many doses are gone as the stock holds."""
    spread = (left.high - left.low) / (2.0 * _SURE)
    grams = np.maximum(left.value + spread * rng.standard_normal(_DRAWS), 0.0)
    rates = rng.gamma(use.per_week.value * use.weeks / use.dose + 0.5, 1.0 / use.weeks, _DRAWS)
    weeks = rng.gamma(np.maximum(grams / use.dose, 1e-6)) / rates
    low, high = np.quantile(weeks, (0.05, 0.95))
    return float(low), float(high)


def _at(now: datetime, weeks: float) -> datetime | None:
    return now + timedelta(weeks=weeks) if 7.0 * weeks < _FURTHEST_DAYS else None
