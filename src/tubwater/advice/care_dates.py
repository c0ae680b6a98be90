"""When each task of care is due, from what was done and read: the one rule that plans, lists and calendars share."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from tubwater.facts import CareStep, care_steps
from tubwater.facts.quantity import Quantity
from tubwater.tub import Cared, Event, FeederSet, Tested, Tub

__all__ = ["TESTS", "CareDate", "applies", "care_date", "care_dates"]

TESTS = {"test-alkalinity": Quantity.TOTAL_ALKALINITY, "test-calcium": Quantity.CALCIUM_HARDNESS}
_READ_TOO = {"weigh-feeder": Quantity.TABLETS_LEFT}  # done by saying so, or by what was read
_EVERY_VISIT_DAYS = 7.0  # tasks at most this far apart are due from the first day


@dataclass(frozen=True)
class CareDate:
    """A task, when it is due, and when it was done last (None: the logbook does not say)."""

    task: CareStep
    due: datetime
    last: datetime | None


def applies(task: CareStep, tub: Tub, events: Iterable[Event] = ()) -> bool:
    """Whether a tub has what the task is about; a feeder only where one was set."""
    has = {
        "always": True,
        "pump": tub.equipment.pump,
        "electric": tub.equipment.pump or tub.equipment.air_jets,
        "cover": tub.equipment.cover,
    }
    return has[task.condition] if task.condition in has else any(isinstance(event, FeederSet) for event in events)


def care_date(task: CareStep, events: Sequence[Event], now: datetime) -> CareDate:
    """One interval after it was done last; a task never done is due once the logbook is as old as its interval.

    What is due every week, and tests that were never made, are due from the first day.
    """
    past = [event for event in events if event.at <= now]
    last, interval = _last(task, past), timedelta(days=task.interval_days)
    if last is not None:
        return CareDate(task, last + interval, last)
    begun = min((event.at for event in past), default=now)
    at_once = task.key in TESTS or task.interval_days <= _EVERY_VISIT_DAYS
    return CareDate(task, begun if at_once else begun + interval, None)


def _last(task: CareStep, past: Sequence[Event]) -> datetime | None:
    quantity = TESTS.get(task.key) or _READ_TOO.get(task.key)
    read = [r.at for e in past if isinstance(e, Tested) for r in e.readings if r.quantity is quantity]
    said = [e.at for e in past if isinstance(e, Cared) and e.task == task.key and task.key not in TESTS]
    return max([*read, *said], default=None)


def care_dates(tub: Tub, events: Sequence[Event], now: datetime) -> tuple[CareDate, ...]:
    """Every task of a tub, the one due first at the top."""
    tasks = (task for task in care_steps().values() if applies(task, tub, events))
    return tuple(sorted((care_date(task, events, now) for task in tasks), key=lambda found: found.due))
