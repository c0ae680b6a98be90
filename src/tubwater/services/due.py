"""What is due when: tests, the next visit, care, the refill, and what runs out or expires on the shelf."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from enum import StrEnum

import numpy as np

from tubwater.advice import Situation
from tubwater.advice.care_dates import TESTS, care_dates
from tubwater.advice.ledger import ledger_of
from tubwater.advice.outlook import Scenario, look_ahead
from tubwater.advice.reagents import product_good_until, reagents_good_until
from tubwater.advice.stock import lasts, left_of, use_of
from tubwater.errors import InputError
from tubwater.services.advise import case_of
from tubwater.services.tubfile import TubFile
from tubwater.tub import Cared, Dosed, Event, FeederSet, Reagents, Reason, Shelf, Tested, Tub

__all__ = ["Due", "DueKind", "due_for", "due_of", "due_of_file"]

_DAYS = 14.0
_MOST_DAYS = 400.0
_OUTLOOK_DAYS = 4.0  # longer than any test counts
_VISIT = (Tested, Dosed, FeederSet, Cared)


class DueKind(StrEnum):
    """What kind of thing is due."""

    TEST = "test"
    VISIT = "visit"
    CARE = "care"
    REFILL = "refill"
    RUNS_OUT = "runs out"
    EXPIRES = "expires"


@dataclass(frozen=True)
class Due:
    """One thing.

    Attributes:
        key: which one: a task of care, a quantity, a product; with ``kind`` it names the thing for good.
        at: when, aware. now: already. overdue: days past that, 0 where it is still to come.
        last: when it was done, where known.
        whole_day: the hour says nothing. minutes: how long it takes, 0 where it cannot be told. every: days between.
        reason: why then.
    """

    kind: DueKind
    key: str
    at: datetime
    now: bool
    overdue: float
    reason: Reason
    last: datetime | None = None
    whole_day: bool = True
    minutes: float = 0.0
    every: float = 0.0


def due_for(
    tub: Tub,
    shelf: Shelf,
    events: Sequence[Event],
    now: datetime,
    days: float = _DAYS,
    reagents: Sequence[Reagents] = (),
    visit_days: float = 7.0,
    seed: int = 0,
) -> tuple[Due, ...]:
    """What is overdue, and what becomes due within ``days`` from ``now`` (aware datetime), tests that are late first.

    Raises:
        InputError: the days are not 1 to 400.
    """
    return due_of(case_of(tub, shelf, events, now, seed), days, reagents, visit_days, seed)


def due_of_file(file: TubFile, now: datetime, days: float = _DAYS, seed: int = 0) -> tuple[Due, ...]:
    """What is due by a keeper's file."""
    visit_days = file.visit.days_until_next
    return due_for(file.tub, file.shelf, file.events, now, days, file.reagents, visit_days, seed)


def due_of(
    case: Situation, days: float = _DAYS, reagents: Sequence[Reagents] = (), visit_days: float = 7.0, seed: int = 0
) -> tuple[Due, ...]:
    """What is due in a situation."""
    if not 1.0 <= days <= _MOST_DAYS:
        raise InputError.one("days", days, f"1 to {_MOST_DAYS:g} days")
    rng = np.random.default_rng([seed, 13])
    found = [
        _next_test(case, rng),
        *_next_visit(case, visit_days),
        *_care(case),
        *_refill(case),
        *_shelf(case, rng),
        *_packs(reagents, case.now),
    ]
    end = case.now + timedelta(days=days)
    return tuple(sorted((due for due in found if due.at <= end), key=_order))


def _order(due: Due) -> tuple[object, ...]:
    """The tests and the visit that are overdue first, since the verdict waits for them; then by time."""
    first = due.now and due.kind in (DueKind.TEST, DueKind.VISIT)
    return (not first, not due.now, due.at, due.kind, due.key)


def _due(
    now: datetime,
    kind: DueKind,
    key: str,
    at: datetime,
    reason: Reason,
    last: datetime | None = None,
    whole_day: bool = True,
    minutes: float = 0.0,
    every: float = 0.0,
) -> Due:
    overdue = max((now - at) / timedelta(days=1), 0.0)
    return Due(kind, key, at, at <= now, overdue, reason, last, whole_day, minutes, every)


def _next_test(case: Situation, rng: np.random.Generator) -> Due:
    """The first hour at which nobody could get in any more without a test of sanitizer and pH."""
    test = look_ahead(case, _OUTLOOK_DAYS, Scenario(), rng).next_test
    last = next(iter(case.readings(case.sanitizer_quantity)), None)
    key = str(case.sanitizer_quantity)
    return _due(case.now, DueKind.TEST, key, test.at, test.reason, last=last.at if last else None, whole_day=False)


def _next_visit(case: Situation, days: float) -> Iterator[Due]:
    """So many days after somebody tested, dosed, set the feeder or cared last."""
    visits = [event.at for event in case.belief.events if isinstance(event, _VISIT) and event.at <= case.now]
    if visits:
        last = max(visits)
        reason = Reason("due-visit", {"days": days})
        yield _due(case.now, DueKind.VISIT, "next", last + timedelta(days=days), reason, last=last, every=days)


def _care(case: Situation) -> Iterator[Due]:
    for found in care_dates(case.tub, case.belief.events, case.now):
        task = found.task
        kind = DueKind.TEST if task.key in TESTS else DueKind.CARE
        reason = Reason("care-due", {"days": task.interval_days}, task.basis)
        done, minutes, every = found.last, task.minutes, task.interval_days
        yield _due(case.now, kind, task.key, found.due, reason, done, minutes=minutes, every=every)


def _refill(case: Situation) -> Iterator[Due]:
    ledger = ledger_of(case)
    if ledger.drain_by and ledger.drain_by.due:
        yield _due(case.now, DueKind.REFILL, "water", ledger.drain_by.due, ledger.drain_by.reason, last=ledger.since)


def _shelf(case: Situation, rng: np.random.Generator) -> Iterator[Due]:
    """When a stock may be used up (the earliest likely day), and when a product is past its date."""
    for product in case.shelf.products:
        soon = lasts(left_of(case, product), use_of(case, product, None, rng), case.now, rng).earliest
        if soon is not None:
            yield _due(case.now, DueKind.RUNS_OUT, product.name, soon, Reason("due-runs-out"))
        good = product_good_until(product)
        if good.day and good.reason:
            yield _due(case.now, DueKind.EXPIRES, product.name, _midnight(good.day, case.now), good.reason)


def _packs(reagents: Iterable[Reagents], now: datetime) -> Iterator[Due]:
    """The last day of the newest pack of each method."""
    last: dict[str, Due] = {}
    for pack in reagents:
        good = reagents_good_until(pack)
        if good.day and good.reason:
            due = _due(now, DueKind.EXPIRES, pack.method, _midnight(good.day, now), good.reason)
            last[pack.method] = max(last.get(pack.method, due), due, key=lambda found: found.at)
    yield from last.values()


def _midnight(day: date, now: datetime) -> datetime:
    return datetime.combine(day, time(), now.tzinfo)
