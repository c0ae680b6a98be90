"""A visit that is being carried out, as a pure fold over what was said beside the tub.

Nothing of it is kept but the events: which step one stands at, the wait that runs and until when, what went in and by
whom, whether the plan has gone stale, and what was handed over all follow from them and the time.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import takewhile

from tubwater.advice.beside_tub import (
    Addition,
    Ask,
    HandedOver,
    Phase,
    Running,
    Standing,
    Status,
    VisitEvent,
    What,
)
from tubwater.advice.carried import carried, keeps_its_check
from tubwater.facts import Role, defaults, substances
from tubwater.facts.quantity import Quantity
from tubwater.tub import Plan, Reason, Step, StepKind

__all__ = ["LONGEST_PAUSE", "fill_a_wait", "fold", "fresh_hours", "holds_back"]

LONGEST_PAUSE = timedelta(minutes=30)  # a dose shown longer than this without an answer is asked about (judgement)
_FAR_OFF = 5.0  # times the planned amount, from which on it is asked whether it is right (judgement)
_SLOW_ROLES = {Role.RAISE_ALKALINITY, Role.RAISE_CALCIUM, Role.BROMIDE_BANK, Role.BORATE_BUFFER}
_PH_ROLES = {Role.LOWER_PH, Role.RAISE_PH}
_SANITIZERS = (Quantity.BROMINE, Quantity.FREE_CHLORINE, Quantity.TOTAL_CHLORINE)
_ADDS = (StepKind.DOSE, StepKind.SET_FEEDER)
_PLANS = (What.BEGUN, What.REPLANNED)
_STATUS = {
    What.DONE: Status.DONE,
    What.RETEST: Status.DONE,
    What.OTHER_AMOUNT: Status.OTHER_AMOUNT,
    What.NOT_IN_HAND: Status.NOT_IN_HAND,
    What.SKIPPED: Status.SKIPPED,
    What.NOT_SURE: Status.NOT_SURE,
}
_WENT_IN = (Status.DONE, Status.OTHER_AMOUNT, Status.NOT_SURE)
_REPLANS = {What.OTHER_AMOUNT, What.NOT_IN_HAND, What.SKIPPED, What.NOT_SURE, What.RETEST}


def fold(events: Sequence[VisitEvent], now: datetime, tested: Mapping[str, datetime] | None = None) -> Running:
    """The visit at ``now`` (aware).

    Args:
        events: in the order in which they were recorded, which is the same for everybody.
        tested: when each quantity was last read, by its name.

    Raises:
        ValueError: no plan was begun.
    """
    kept = _without_undone(events)
    plans = [e for e in kept if e.what in _PLANS]
    if not plans or plans[0].what is not What.BEGUN:
        raise ValueError("a visit starts with its plan")
    numbers = {e.id: n for n, e in enumerate(e for e in events if e.what in _PLANS)}
    rows, dropped = _steps(kept, numbers, now)
    steps = carried(rows, now)
    at = next((n for n, s in enumerate(steps) if not s.answered and not s.beside and not _over(s, now)), None)
    newest = plans[-1]
    assert newest.plan is not None
    state = Running(
        begun=plans[0].at,
        begun_by=plans[0].by,
        phase=Phase.RUNNING,
        plan=newest.plan,
        steps=steps,
        at=at,
        added=_added(steps),
        replanned=newest.because,
        owes=_owes(kept, steps, numbers),
        dropped=dropped,
        missing=_missing(steps),
        doubted=next((s for s in steps if _far_off(s) and not _settled(s, kept)), None),
    )
    return _asked(_phased(_last(state, kept), kept, now), kept, tested or {}, now)


def fill_a_wait(steps: Sequence[Step]) -> list[bool]:
    """For each step, whether it is a task done while the wait before it runs."""
    found: list[bool] = []
    waits = False
    for step in steps:
        beside = step.kind is StepKind.CHECK and bool(step.task) and waits
        waits = step.kind is StepKind.WAIT or beside
        found.append(beside)
    return found


def holds_back(state: Running) -> Reason | None:
    """Why nobody may get in because of this visit, or None."""
    if state.phase in (Phase.FINISHED, Phase.CLOSED):
        return None
    if state.due is not None:
        return Reason("wait-of-visit", {"time": state.due.isoformat(timespec="minutes")})
    return None if state.phase is Phase.LEFT else Reason("visit-running")


def fresh_hours(step: Step) -> tuple[tuple[Quantity, ...], float]:
    """Which readings a dose rests on, and for how many hours they carry it."""
    roles = substances()[step.amount.substance].roles if step.amount else frozenset()
    if roles & _SLOW_ROLES:
        return (Quantity.TOTAL_ALKALINITY, Quantity.CALCIUM_HARDNESS), defaults()["stale_alkalinity_hours"].value
    return (Quantity.PH,) if roles & _PH_ROLES else _SANITIZERS, defaults()["stale_sanitizer_hours"].value


def _without_undone(events: Sequence[VisitEvent]) -> list[VisitEvent]:
    """Events that stand: an undone one goes, with the plan that was made after it."""
    undone = {e.about for e in events if e.what is What.UNDONE}
    kept = [e for e in events if e.what is not What.UNDONE and e.id not in undone]
    return [e for e in kept if not (e.what is What.REPLANNED and e.about in undone)]


def _steps(
    events: Sequence[VisitEvent], numbers: Mapping[str, int], now: datetime
) -> tuple[tuple[Standing, ...], tuple[Standing, ...]]:
    """Answered steps of earlier plans, then the newest plan whole; and the open steps that were dropped."""
    answers: dict[str, VisitEvent] = {}
    for event in events:
        first = event.what is What.OTHER_AMOUNT or event.step not in answers
        if event.step and event.what in _STATUS and first:
            answers[event.step] = event  # who comes second changes nothing, except by naming another amount
    rows: list[Standing] = []
    dropped: list[Standing] = []
    for event in (e for e in events if e.what in _PLANS):
        assert event.plan is not None
        stays = [r.answered or _over(r, event.at) or keeps_its_check(r, event.plan) for r in rows]
        dropped += [r for r, stay in zip(rows, stays, strict=True) if not stay]
        rows = [r for r, stay in zip(rows, stays, strict=True) if stay]
        rows += _laid_out(event.plan, numbers[event.id], answers, event.at, now)
    return tuple(rows), tuple(dropped)


def _laid_out(
    plan: Plan, number: int, answers: Mapping[str, VisitEvent], clock: datetime, now: datetime
) -> list[Standing]:
    """The steps of one plan; the turn of each comes when the one before it is finished.

    A wait for something that did not go in is none: it is left out.
    """
    rows: list[Standing] = []
    since: datetime | None = clock
    for place, (step, beside) in enumerate(zip(plan.steps, fill_a_wait(plan.steps), strict=True)):
        missed = step.kind is StepKind.WAIT and _missed(rows)
        begins = _newest_in(rows) if missed else since
        if missed and begins is None:
            continue
        row = _one(f"{number}.{place}", step, answers, begins, beside)
        rows.append(row)
        if not beside:
            since = row.at if row.answered else row.due if _over(row, now) else None
    return rows


def _missed(rows: Sequence[Standing]) -> bool:
    """Whether a wait that comes now is for doses of which one was answered but is not in."""
    for_it = list(takewhile(lambda r: r.step.kind in _ADDS, _since_a_wait(rows)))
    return any(r.step.kind is StepKind.DOSE for r in for_it) and any(r.answered and not _is_in(r) for r in for_it)


def _newest_in(rows: Sequence[Standing]) -> datetime | None:
    """When the newest dose since the wait before went in; None where none did."""
    doses = [r for r in _since_a_wait(rows) if r.step.kind is StepKind.DOSE and _is_in(r)]
    return doses[0].at if doses else None


def _since_a_wait(rows: Sequence[Standing]) -> list[Standing]:
    """The steps since the wait before, the newest first."""
    return list(takewhile(lambda r: r.step.kind is not StepKind.WAIT, (r for r in reversed(rows) if not r.beside)))


def _is_in(row: Standing) -> bool:
    """Whether it went into the water; a feeder that was set, however far, counts."""
    return row.status in _WENT_IN and (row.grams > 0.0 or row.step.kind is StepKind.SET_FEEDER)


def _one(key: str, step: Step, answers: Mapping[str, VisitEvent], since: datetime | None, beside: bool) -> Standing:
    due = since + timedelta(minutes=step.minutes) if since and step.kind is StepKind.WAIT else None
    row = Standing(key, step, since=since, due=due, beside=beside)
    said = answers.get(key)
    if said is None:
        return row
    planned = step.amount.grams if step.amount else 0.0
    grams = planned if said.what in (What.DONE, What.NOT_SURE) else said.grams
    return replace(row, status=_STATUS[said.what], at=said.at, by=said.by, grams=grams, entry=said.id)


def _over(row: Standing, now: datetime) -> bool:
    return row.due is not None and now >= row.due


def _added(steps: Iterable[Standing]) -> tuple[Addition, ...]:
    found = []
    for s in steps:
        if s.step.kind in _ADDS and s.step.amount and s.status in _WENT_IN and s.at:
            certain = s.status is not Status.NOT_SURE
            found.append(
                Addition(s.step.amount.product, s.step.amount.substance, s.grams, s.at, s.by, certain, s.entry)
            )
    return tuple(found)


def _owes(events: Sequence[VisitEvent], steps: Sequence[Standing], numbers: Mapping[str, int]) -> VisitEvent | None:
    """The first answer that changes the rest and has no plan made after it yet."""
    planned_after = {e.about for e in events if e.what is What.REPLANNED}
    newest = 0
    for event in events:
        newest = numbers.get(event.id, newest)
        late = event.what is What.DONE and int(event.step.split(".")[0]) < newest and _adds(event.step, steps)
        asks = late or (event.what in _REPLANS and _changes(event, steps))
        if asks and event.id not in planned_after:
            return event
    return None


def _adds(key: str, steps: Sequence[Standing]) -> bool:
    return any(s.key == key and s.step.kind in _ADDS for s in steps)


def _changes(event: VisitEvent, steps: Sequence[Standing]) -> bool:
    place = next((n for n, s in enumerate(steps) if s.key == event.step), None)
    if event.what is not What.SKIPPED or place is None:
        return event.what is What.RETEST or place is not None
    kind, later = steps[place].step.kind, steps[place + 1 :]
    doses_ahead = any(s.step.kind is StepKind.DOSE and not s.answered for s in later)
    return kind is StepKind.DOSE or (kind is StepKind.TEST and doses_ahead)


def _missing(steps: Sequence[Standing]) -> frozenset[str]:
    """Products that this visit does without."""
    without = {Status.NOT_IN_HAND, Status.SKIPPED}
    return frozenset(s.step.amount.product for s in steps if s.status in without and s.step.amount)


def _far_off(row: Standing) -> bool:
    """Whether much more went in than was planned: likelier a slip of the finger than a dose."""
    planned = row.step.amount.grams if row.step.amount else 0.0
    return row.status is Status.OTHER_AMOUNT and row.grams >= _FAR_OFF * planned > 0.0


def _settled(row: Standing, events: Sequence[VisitEvent]) -> bool:
    """Whether somebody said since that the amount is right."""
    ids = [e.id for e in events]
    return any(e.what is What.ANSWERED and e.step == row.key for e in events[ids.index(row.entry) :])


def _last(state: Running, events: Sequence[VisitEvent]) -> Running:
    said = [e for e in events if e.what in _STATUS and state.of(e.step) is not None]
    return replace(state, last=said[-1].id, last_by=said[-1].by) if said else state


def _phased(state: Running, events: Sequence[VisitEvent], now: datetime) -> Running:
    moves = [e for e in events if e.what in (What.LEFT, What.TAKEN_UP, What.CLOSED)]
    newest = moves[-1] if moves else None
    if newest and newest.what is What.CLOSED:
        return replace(state, phase=Phase.CLOSED, at=None)
    if newest and newest.what is What.LEFT and state.at is not None:
        rest = tuple(s for s in state.steps if not s.answered and not _over(s, now))
        handed = HandedOver(newest.to, newest.by, newest.at, rest, state.plan.fit_when)
        return replace(state, phase=Phase.LEFT, handed=handed)
    return state if state.at is not None else replace(state, phase=Phase.FINISHED)


def _asked(state: Running, events: Sequence[VisitEvent], tested: Mapping[str, datetime], now: datetime) -> Running:
    turn = state.turn
    if turn is None or turn.step.kind not in _ADDS or turn.since is None or state.phase is not Phase.RUNNING:
        return state
    if _interrupted(turn.since, events, now):
        return replace(state, asks=Ask.DID_YOU_ADD_IT)
    return replace(state, asks=Ask.TEST_FIRST) if _stale(turn.step, tested, now) else state


def _interrupted(since: datetime, events: Sequence[VisitEvent], now: datetime) -> bool:
    """Somebody went away from a dose that was shown, or said nothing for long."""
    settled = [e.at for e in events if e.what is What.ANSWERED and e.at >= since]
    if settled:
        return now - settled[-1] > LONGEST_PAUSE or any(e.what is What.TAKEN_UP and e.at > settled[-1] for e in events)
    away = any(e.what is What.TAKEN_UP and e.at > since for e in events)
    return away or now - max([since, *(e.at for e in events)]) > LONGEST_PAUSE


def _stale(step: Step, tested: Mapping[str, datetime], now: datetime) -> bool:
    if step.kind is not StepKind.DOSE:
        return False
    quantities, hours = fresh_hours(step)
    found = [tested[str(q)] for q in quantities if str(q) in tested]
    if not found and Quantity.TOTAL_ALKALINITY in quantities:
        return False  # sized without such a reading; there is none to go stale
    return not found or now - max(found) > timedelta(hours=hours)
