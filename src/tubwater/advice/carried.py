"""What becomes of the checks that fill a wait and were not made in it: none is lost.

They go into the next wait with the cover open; where none is ahead they come before the visit closes. There the suction
covers are a step of their own, since a missing one holds people fast; the others stand beside what closes the visit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from tubwater.advice.beside_tub import Standing
from tubwater.facts import must_be_done
from tubwater.tub import Plan, StepKind

__all__ = ["carried", "keeps_its_check"]

_CLOSES = (StepKind.VENT, StepKind.COVER, StepKind.HAND_OVER)


def keeps_its_check(row: Standing, plan: Plan) -> bool:
    """Whether a row is an open check that a newer plan does not have anew."""
    return row.beside and not row.answered and row.step.task not in {step.task for step in plan.steps}


def carried(rows: Sequence[Standing], now: datetime) -> tuple[Standing, ...]:
    """The rows of a visit with the checks that missed their wait where they can be made still."""
    missed = [row for n, row in enumerate(rows) if row.beside and not _in_its_wait(rows, n, now)]
    found = [row for row in rows if row not in missed]
    for row in missed:
        must = must_be_done(row.step.task)
        if row.answered:
            found = _put(found, _a_step(row), _closing(found, row.at))
        elif (wait := _next_wait(found, now)) is not None:
            found = _put(found, row, _after(found, wait))
        elif must:
            found = _put(found, _a_step(row), _closing(found, None))
        else:
            found = _put(found, row, _after(found, _closing(found, None)))
    return tuple(found)


def _in_its_wait(rows: Sequence[Standing], place: int, now: datetime) -> bool:
    """Whether a check stands where it is or was made: by a wait that is not over, or was not when it was answered."""
    row = rows[place]
    if row.at is not None:
        open_then = any(_waits(r, row.at) and not r.step.covered for r in rows)
        return open_then or not must_be_done(row.step.task)
    before = next((r for r in reversed(rows[:place]) if not r.beside), None)
    return before is not None and _waits(before, now)


def _waits(row: Standing, at: datetime) -> bool:
    """Whether a wait is ahead or runs at a time."""
    return row.step.kind is StepKind.WAIT and (row.due is None or at < row.due)


def _next_wait(rows: Sequence[Standing], now: datetime) -> int | None:
    return next((n for n, r in enumerate(rows) if _waits(r, now) and not r.step.covered), None)


def _closing(rows: Sequence[Standing], at: datetime | None) -> int:
    """The place of the first step that closes the visit and was open at ``at``, or is where that is None."""
    open_then = (n for n, r in enumerate(rows) if r.step.kind in _CLOSES and (r.at is None or (at and r.at > at)))
    return next(open_then, len(rows))


def _after(rows: Sequence[Standing], place: int) -> int:
    """The place behind a row and the checks beside it."""
    rest = range(place + 1, len(rows))
    return next((n for n in rest if not rows[n].beside), len(rows))


def _a_step(row: Standing) -> Standing:
    """A check with a turn of its own."""
    return replace(row, beside=False, step=replace(row.step, optional=False))


def _put(rows: Sequence[Standing], row: Standing, place: int) -> list[Standing]:
    return [*rows[:place], row, *rows[place:]]
