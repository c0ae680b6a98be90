"""From when on a test counts after a visit, worked out from what went in and when, not from what was planned.

A plan reckons with the minutes that its steps should take. Beside the tub they take others, and the verdict goes by the
doses as they were entered: what the end of a visit says has to go by them as well.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from tubwater.advice import Situation
from tubwater.advice.beside_tub import Running, Standing
from tubwater.tub import Reason, Step, StepKind, as_kept

__all__ = ["VisitEnd", "end_of_visit"]

_AS_DOSED = ("in-use", "test-first")  # situations whose test waits for nothing but what went in
_FROM = {"fit-after-test": ("time",), "two-good-readings": ("first", "second", "again")}
_TOLD_BY_MINUTE = timedelta(minutes=1)  # a reason's time has no seconds, a plan's next visit has


@dataclass(frozen=True)
class VisitEnd:
    """When people may get in, on what evidence, and when to come back, both as they stand now."""

    fit_when: tuple[Reason, ...]
    back: datetime

    def said_in(self, step: Step) -> Step:
        """A step whose reasons say the same time."""
        times = {reason.kind: reason for reason in self.fit_when if reason.kind in _FROM}
        return replace(step, reasons=tuple(times.get(reason.kind, reason) for reason in step.reasons))


def end_of_visit(case: Situation, state: Running) -> VisitEnd:
    """The end of a visit's plan with the times moved to where its doses really put them.

    What is open of the visit counts as done from now on, step by step. A plan that waits for more than its doses
    keeps its times, unless no test would count by then.
    """
    plan = state.plan
    told = _first_time(plan.fit_when)
    if told is None:
        return VisitEnd(plan.fit_when, plan.next_visit)
    counts, plain = _counts_from(case, state), plan.situation in _AS_DOSED and _is_plain(plan.fit_when)
    moved = counts - told if plain else max(counts - told, timedelta())
    fit_when = tuple(_moved(reason, moved) for reason in plan.fit_when)
    with_it = plan.next_visit < max(_times(plan.fit_when)) + _TOLD_BY_MINUTE
    return VisitEnd(fit_when, max(_times(fit_when)) if with_it else max(plan.next_visit, counts))


def _is_plain(fit_when: tuple[Reason, ...]) -> bool:
    """Whether one test opens the tub, whenever it counts."""
    return {reason.kind for reason in fit_when} == {"fit-after-test"}


def _times(fit_when: tuple[Reason, ...]) -> list[datetime]:
    """Every time from which a test should count, as the plan says it."""
    named = [(r, name) for r in fit_when for name in _FROM.get(r.kind, ()) if name in r.values]
    return [datetime.fromisoformat(str(r.values[name])) for r, name in named]


def _first_time(fit_when: tuple[Reason, ...]) -> datetime | None:
    return min(_times(fit_when), default=None)


def _moved(reason: Reason, by: timedelta) -> Reason:
    times = {name: reason.values[name] for name in _FROM.get(reason.kind, ()) if name in reason.values}
    later = {name: _to_minute(datetime.fromisoformat(str(at)) + by) for name, at in times.items()}
    return replace(reason, values={**reason.values, **{n: at.isoformat(timespec="minutes") for n, at in later.items()}})


def _counts_from(case: Situation, state: Running) -> datetime:
    """From when on a test counts, on whole minutes and never earlier than it does."""
    ends = [at + timedelta(minutes=case.spoils_minutes(product)) for product, at in _doses(case, state)]
    return _to_minute(max([*_left_now(case), _over_at(case, state), *ends]))


def _left_now(case: Situation) -> list[datetime]:
    """When what is in has reacted and mixed, told as the next test of the tub is; empty where it has."""
    left = max((case.wait_until - case.now) / timedelta(minutes=1), case.window_minutes_left)
    return [case.now + timedelta(minutes=as_kept(left))] if left > 0.0 else []


def _doses(case: Situation, state: Running) -> Iterator[tuple[str, datetime]]:
    """What is still to go in, each with the time at which it would."""
    clock = case.now
    for row in _open(state, case.now):
        if row.step.kind is StepKind.DOSE and row.step.amount:
            yield row.step.amount.product, clock
        clock = _then(row, clock)


def _over_at(case: Situation, state: Running) -> datetime:
    """When the last step is over; of a visit that is through, when it was."""
    rows = _open(state, case.now)
    if not rows:
        return max((row.at for row in state.steps if row.at), default=state.begun)
    clock = case.now
    for row in rows:
        clock = _then(row, clock)
    return clock


def _then(row: Standing, clock: datetime) -> datetime:
    return max(row.due, clock) if row.due else clock + timedelta(minutes=row.step.minutes)


def _open(state: Running, now: datetime) -> list[Standing]:
    if state.at is None:
        return []
    ahead = [row for row in state.steps if not row.answered and not row.beside]
    return [row for row in ahead if row.due is None or row.due > now]


def _to_minute(at: datetime) -> datetime:
    """The same minute where it begins, otherwise the next."""
    whole = at.replace(second=0, microsecond=0)
    return whole if whole == at else whole + timedelta(minutes=1)
