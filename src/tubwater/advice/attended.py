"""When somebody has to be there: a fill lasts a day or more, most of it under a closed cover.

A keeper whose minutes end before the plan does leaves at a closed cover where he can, and a named person does the rest.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from tubwater.advice.wishes import Wishes
from tubwater.tub import Equipment, Reason, Step, StepKind

__all__ = ["Stretch", "be_there", "shared_out", "stretches"]

_SLACK = 1e-6


@dataclass(frozen=True)
class Stretch:
    """Minutes after the plan's begin in which somebody has to be there; ``first`` is the index of its first step."""

    begin: float
    end: float
    first: int


def stretches(steps: Sequence[Step], equipment: Equipment) -> list[Stretch]:
    """The stretches of a plan that somebody has to be there for, in order."""
    found: list[Stretch] = []
    for index, step in enumerate(steps):
        if _beside(step) or step.minutes <= 0.0 or _by_itself(step, equipment):
            continue
        end = step.starts_at + step.minutes
        if found and step.starts_at <= found[-1].end + _SLACK:
            found[-1] = replace(found[-1], end=end)
        else:
            found.append(Stretch(step.starts_at, end, index))
    return found


def shared_out(
    steps: Sequence[Step], equipment: Equipment, begins: datetime, wishes: Wishes, fit: Reason
) -> tuple[list[Step], list[Reason]]:
    """The steps with what is handed over, and when somebody has to be there; ``fit`` is the condition to bathe."""
    found, notes, minutes = stretches(steps, equipment), be_there(steps, equipment, begins), wishes.minutes
    if minutes is None or not found or found[-1].end <= minutes + _SLACK:
        return list(steps), notes
    if not wishes.later_by:
        return list(steps), [*_too_short(found[0], minutes), *notes]
    at, closed = _leaves_at(steps, found, minutes)
    return _handed(steps, at, _Hand(wishes.later_by, minutes, closed, begins, fit)), notes


def be_there(steps: Sequence[Step], equipment: Equipment, begins: datetime) -> list[Reason]:
    """When somebody has to be there, where that is more than once."""
    found = stretches(steps, equipment)
    waits = any(step.partial for step in steps)
    return [_be_there(begins, s, waits and _is_warm(steps, s)) for s in found] if len(found) > 1 else []


def _beside(step: Step) -> bool:
    """A task of care that is done while the step before it runs."""
    return bool(step.task) and step.optional


def _by_itself(step: Step, equipment: Equipment) -> bool:
    """Nobody has to be beside a closed cover; a fire is never left alone."""
    heats = step.kind is StepKind.HEAT and equipment.pump
    return heats or (step.kind is StepKind.WAIT and step.covered)


def _is_warm(steps: Sequence[Step], stretch: Stretch) -> bool:
    """Whether it follows hours of heating under the cover, which may as well be more of them."""
    return stretch.first > 0 and steps[stretch.first - 1].kind is StepKind.HEAT


def _be_there(begins: datetime, stretch: Stretch, may_wait: bool) -> Reason:
    at = begins + timedelta(minutes=stretch.begin)
    values: dict[str, float | str] = {"time": at.isoformat(timespec="minutes"), "minutes": stretch.end - stretch.begin}
    return Reason("be-there-or-later" if may_wait else "be-there", values)


def _too_short(first: Stretch, minutes: float) -> tuple[Reason, ...]:
    if first.end <= minutes + _SLACK:
        return ()
    return (Reason("begin-with-more-time", {"minutes": minutes, "needed": first.end}),)


def _leaves_at(steps: Sequence[Step], found: Sequence[Stretch], minutes: float) -> tuple[int, bool]:
    """Index of the first step that somebody else does, and whether the cover is closed before it."""
    over = [s for s in found if s.end > minutes + _SLACK]
    if over[0] is not found[0]:
        return over[0].first, True
    late = (i for i, s in enumerate(steps) if not _beside(s) and s.starts_at + s.minutes > minutes + _SLACK)
    return next(late), False


@dataclass(frozen=True)
class _Hand:
    """Who goes on, after how many minutes, whether at a closed cover, and when people may get in."""

    by: str
    minutes: float
    closed: bool
    begins: datetime
    fit: Reason

    def step(self, starts_at: float) -> Step:
        kind = "take-over-closed" if self.closed else "take-over-open"
        at = (self.begins + timedelta(minutes=starts_at)).isoformat(timespec="minutes")
        reason = Reason(kind, {"by": self.by, "time": at, "minutes": self.minutes})
        return Step(StepKind.HAND_OVER, by=self.by, reasons=(reason, self.fit), starts_at=starts_at)


def _handed(steps: Sequence[Step], at: int, hand: _Hand) -> list[Step]:
    theirs = [replace(step, by=hand.by) for step in steps[at:]]
    return [*steps[:at], hand.step(steps[at].starts_at), *theirs]
