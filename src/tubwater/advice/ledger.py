"""What has built up in the water since the fill, and by when it is worn out, read off the belief.

Bather-uses follow the bather rules of the guidelines; a change of part of the water takes away its share of
everything (dilution, a calculation).  Dates of what builds up assume that it goes on as since the fill.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from tubwater.advice.evenings import usual_use
from tubwater.advice.now import Situation
from tubwater.belief import Observer
from tubwater.chemistry import MG_PER_MOL, Water, kg_water_per_litre, mg_per_litre, total_dissolved_solids
from tubwater.dynamics import Rates, TubState, refill
from tubwater.facts import defaults
from tubwater.facts.drain import DrainKind, DrainRule, drain_rules
from tubwater.facts.quantity import Quantity
from tubwater.tub import CONTAMINATIONS, Dosed, Drained, Filled, Noticed, Reason, Sanitizer, Sign, Soaked

__all__ = ["Built", "DrainDate", "Ledger", "Spread", "WaterChange", "ledger_of", "remaining", "water_change"]

Array = NDArray[np.float64]
_MEMBERS = 500
_ENOUGH_DAYS = 14.0  # of a logbook before its own use counts (judgement)
_GROWTH_DAYS = 7.0  # since the fill before a rise tells anything (judgement)
_WHOLE = 0.9  # of the water out is a change of all of it (judgement)
_NIGHT_HOURS = 12.0
_LONG_LAPSE_HOURS = 168.0
_ONLY_OTHER_WATER = CONTAMINATIONS - {Sign.BLOOD, Sign.LEGIONELLA, Sign.ILLNESS}  # those ask or treat before they drain
_FURTHEST_DAYS = 3650.0


@dataclass(frozen=True)
class Spread:
    """Median, 5th and 95th percentile."""

    median: float
    low: float
    high: float


@dataclass(frozen=True)
class Built:
    """How much of something is in the water: ``key`` names it, ``unit`` is mg/L or empty; ``fill`` in fresh water."""

    key: str
    unit: str
    now: Spread
    fill: Spread


@dataclass(frozen=True)
class DrainDate:
    """What one rule says.

    Attributes:
        used: share of what the rule allows that is used up, 1 and more is reached; None where it cannot be told.
        due: when it is reached (median), None where never or not known. earliest, latest: 5th and 95th percentile.
    """

    rule: DrainRule
    used: float | None
    due: datetime | None
    earliest: datetime | None
    latest: datetime | None
    reason: Reason


@dataclass(frozen=True)
class Ledger:
    """Since the fill.

    Attributes:
        since: the last fill, None where the logbook does not hold it; then what it counts is a least value.
        weeks: since then, or since the logbook begins. uses: bather-uses that count in this water.
        uses_per_week: expected, and ``uses_basis`` whether from the log, as stated, or usual.
        litres_in, litres_out: filled or replaced, and let out, L. products: grams of each since then.
        built: what is in the water. dates: what each rule says, the deciding ones first, in the order of time.
        drain_by: the rule that sets the date, None where no date can be told.
    """

    as_of: datetime
    since: datetime | None
    weeks: float
    uses: float
    uses_per_week: float
    uses_basis: str
    litres_in: float
    litres_out: float
    products: Mapping[str, float]
    built: tuple[Built, ...]
    dates: tuple[DrainDate, ...]
    drain_by: DrainDate | None


@dataclass(frozen=True)
class WaterChange:
    """What changing part of the water would do.

    Attributes:
        litres: let out at each step. steps: how often. left: share of the old water that stays (median).
        uses: bather-uses that would still count. before, after: the same rows.
        as_of: now. drain_by: the rule that would set the date then, None where no date can be told.
    """

    litres: float
    steps: int
    left: float
    uses: float
    before: tuple[Built, ...]
    after: tuple[Built, ...]
    as_of: datetime
    drain_by: DrainDate | None


def remaining(fraction: float, steps: int = 1, overflow: bool = False) -> float:
    """Share of the old water left: (1 - f)^k stepwise, exp(-f k) when fresh water overflows the rim (calculation)."""
    return float(np.exp(-fraction * steps)) if overflow else float((1.0 - fraction) ** steps)


def ledger_of(case: Situation) -> Ledger:
    """The ledger of a tub at ``case.now``."""
    count = _Count(case)
    rules = drain_rules().get(case.guideline.key, drain_rules()["household"])
    bromine = case.tub.sanitizer is Sanitizer.BROMINE
    skipped = DrainKind.CYANURATE if bromine else DrainKind.HYDANTOIN
    dates = [_date(case, count, rule) for rule in rules if rule.kind is not skipped]
    dates.sort(key=lambda d: (not d.rule.decides, d.due is None, d.due or case.now))
    first = dates[0] if dates and dates[0].rule.decides and dates[0].due is not None else None
    thin = case.belief.thinned(_MEMBERS)
    return Ledger(
        as_of=case.now,
        since=count.since,
        weeks=count.days / 7.0,
        uses=count.uses,
        uses_per_week=count.per_day * 7.0,
        uses_basis=count.basis,
        litres_in=count.litres_in,
        litres_out=count.litres_out,
        products=count.products,
        built=_built(case, thin.state, thin.rates),
        dates=tuple(dates),
        drain_by=first,
    )


def water_change(case: Situation, litres: float, steps: int = 1) -> WaterChange:
    """What it would do to let out ``litres`` and fill up again, ``steps`` times."""
    share = np.minimum(litres / case.rates.litres, 1.0)
    state, events = case.state, case.belief.events
    for _ in range(steps):
        state, events = refill(state, case.rates, share), (*events, Drained(case.now, litres))
    then = ledger_of(replace(case, belief=replace(case.belief, state=state, events=events)))
    left = float(np.median((1.0 - share) ** steps))
    thin = case.belief.thinned(_MEMBERS)
    before = _built(case, thin.state, thin.rates)
    return WaterChange(litres, steps, left, then.uses, before, then.built, case.now, then.drain_by)


class _Count:
    """Adds up a logbook since the last fill."""

    def __init__(self, case: Situation) -> None:
        self.litres = float(np.median(case.rates.litres))
        past = [e for e in case.belief.events if e.at <= case.now]
        fills = [e for e in past if isinstance(e, Filled) or self._changes_all(e)]
        self.since = max((e.at for e in fills), default=None)
        start = self.since or min((e.at for e in past), default=case.now)
        self.days = (case.now - start).total_seconds() / 86400.0
        events = [e for e in past if e.at >= start]
        self.uses, self.soaked, self.litres_out, self.products = 0.0, 0.0, 0.0, dict[str, float]()
        self.litres_in = sum(e.litres or self.litres for e in events if isinstance(e, Filled))
        self.changed: list[tuple[datetime, float]] = [(start, 1.0)] if self.since else []
        self.incident = any(_incident(e) for e in events)
        for event in events:
            self._add(event)
        self.per_day, self.basis = self._forecast(case)

    def _changes_all(self, event: object) -> bool:
        return isinstance(event, Drained) and event.litres >= _WHOLE * self.litres

    def _add(self, event: object) -> None:
        if isinstance(event, Soaked):
            self.uses += event.people
            self.soaked += event.people
        elif isinstance(event, Drained):
            share = min(event.litres / self.litres, 1.0)
            self.uses *= 1.0 - share
            self.litres_in += event.litres
            self.litres_out += event.litres
            self.changed.append((event.at, share))
        elif isinstance(event, Dosed):
            self.products[event.product] = self.products.get(event.product, 0.0) + event.grams

    def _forecast(self, case: Situation) -> tuple[float, str]:
        """Bather-uses a day: from the logbook once it is long enough, else as stated, else usual."""
        if self.days >= _ENOUGH_DAYS and self.soaked > 0.0:
            return self.soaked / self.days, "from-log"
        soaks, people, _ = usual_use(case.tub)
        return soaks * people / 7.0, "usual" if case.tub.soaks_per_week is None else "as-stated"

    def last_change(self, share: float) -> datetime | None:
        """When at least ``share`` of the water was last changed."""
        return max((at for at, part in self.changed if part >= share - 1e-9), default=None)


def _date(case: Situation, count: _Count, rule: DrainRule) -> DrainDate:
    if rule.kind is DrainKind.INCIDENT:
        return _at_once(case, rule, count.incident)
    if rule.kind is DrainKind.WILL_NOT_HOLD:
        return _at_once(case, rule, _lost_overnight(case, rule.value) >= 0.5)
    if rule.kind is DrainKind.CALENDAR:
        return _calendar(case, count, rule)
    if rule.kind is DrainKind.PEOPLE:
        return _people(case, count, rule)
    return _rising(case, count, rule)


def _incident(event: object) -> bool:
    """Something after which only other water will do."""
    if not isinstance(event, Noticed):
        return False
    return bool(event.signs & _ONLY_OTHER_WATER) or (event.lapse_hours or 0.0) > _LONG_LAPSE_HOURS


def _lost_overnight(case: Situation, share: float) -> float:
    """Probability that more than ``share`` of the sanitizer is lost in a covered, unused night."""
    decay = case.rates.decay_at(case.tub.temperature)
    if case.tub.equipment.ozone_or_uv:
        decay = decay / defaults()["ozone_decay_factor"].value
    return float(np.mean(-np.expm1(-decay * _NIGHT_HOURS) > share))


def _at_once(case: Situation, rule: DrainRule, now: bool) -> DrainDate:
    due = case.now if now else None
    return DrainDate(rule, 1.0 if now else 0.0, due, due, due, _reason(rule))


def _calendar(case: Situation, count: _Count, rule: DrainRule) -> DrainDate:
    last = count.last_change(rule.share)
    if last is None:
        return DrainDate(rule, None, None, None, None, _reason(rule))
    due = last + timedelta(days=rule.value)
    used = (case.now - last).total_seconds() / 86400.0 / rule.value
    return DrainDate(rule, used, due, due, due, _reason(rule))


def _people(case: Situation, count: _Count, rule: DrainRule) -> DrainDate:
    capacity = case.rates.litres / rule.value
    used = float(count.uses / np.median(capacity))
    if count.since is None and used < 1.0:  # what was before is not known
        return DrainDate(rule, None, None, None, None, _reason(rule))
    days = (capacity - count.uses) / count.per_day if count.per_day > 0.0 else np.full(capacity.shape, np.inf)
    return _spread_date(case, rule, used, days)


def _rising(case: Situation, count: _Count, rule: DrainRule) -> DrainDate:
    """A rule on something that builds up: as fast from now on as since the fill."""
    present = _LEVELS[rule.kind](case.state.water) - _fresh(case, rule.kind)
    used = float(np.median(present)) / rule.value
    if count.since is None or count.days < _GROWTH_DAYS:
        if used < 1.0:
            return DrainDate(rule, used, None, None, None, _reason(rule))
        return DrainDate(rule, used, case.now, case.now, case.now, _reason(rule))
    days = (rule.value - present) / np.maximum(present / count.days, 1e-9)
    return _spread_date(case, rule, used, days)


def _fresh(case: Situation, kind: DrainKind) -> Array | float:
    return _LEVELS[kind](case.rates.fill) if kind is DrainKind.SOLIDS else 0.0


def _spread_date(case: Situation, rule: DrainRule, used: float, days: Array) -> DrainDate:
    low, median, high = np.quantile(np.clip(days, -_FURTHEST_DAYS, _FURTHEST_DAYS), (0.05, 0.5, 0.95))
    due, first, last = (
        case.now + timedelta(days=float(d)) if d < _FURTHEST_DAYS else None for d in (median, low, high)
    )
    return DrainDate(rule, used, due, first, last, _reason(rule))


def _reason(rule: DrainRule) -> Reason:
    part = {"share": rule.share} if rule.share < 1.0 else {}
    return Reason(f"drain-{rule.kind.value}", {"value": rule.value, **part}, rule.basis)


def _bank(water: Water) -> Array:
    mg: Array = (water.bromide + water.bromine) * MG_PER_MOL["bromide"] * 1e3 * kg_water_per_litre(water)
    return mg


_Read = Callable[[Water], Array]
_LEVELS: dict[DrainKind, _Read] = {
    DrainKind.HYDANTOIN: lambda water: mg_per_litre(water, "hydantoin"),
    DrainKind.CYANURATE: lambda water: mg_per_litre(water, "cyanuric acid"),
    DrainKind.SOLIDS: total_dissolved_solids,
}
_ROWS: dict[str, _Read] = {
    "bromide bank": _bank,
    "hydantoin": _LEVELS[DrainKind.HYDANTOIN],
    "cyanuric acid": _LEVELS[DrainKind.CYANURATE],
    "chloride": lambda water: mg_per_litre(water, "chloride"),
    "sulfate": lambda water: mg_per_litre(water, "sulfate"),
    "dissolved solids": total_dissolved_solids,
    "total alkalinity": lambda water: mg_per_litre(water, "total alkalinity"),
    "calcium hardness": lambda water: mg_per_litre(water, "calcium hardness"),
}


def _built(case: Situation, state: TubState, rates: Rates) -> tuple[Built, ...]:
    """Every row for a state, and for the fill water alone."""
    left_out = "cyanuric acid" if case.tub.sanitizer is Sanitizer.BROMINE else "bromide bank"
    rows = [
        Built(key, "mg/L", _spread(read(state.water)), _spread(read(rates.fill)))
        for key, read in _ROWS.items()
        if key != left_out
    ]
    none = np.zeros(rates.litres.shape)
    now, fresh = Observer(state), Observer(TubState(rates.fill, none, none, none, state.ph))
    units = {case.sanitizer_quantity: "mg/L", Quantity.PH: ""}
    rows += [Built(q.value, unit, _spread(now.read(q)), _spread(fresh.read(q))) for q, unit in units.items()]
    return tuple(rows)


def _spread(values: Array) -> Spread:
    low, median, high = np.quantile(values, (0.05, 0.5, 0.95))
    return Spread(float(median), float(low), float(high))
