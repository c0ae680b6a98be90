"""Which steps of a plan have a turn of their own, and which fill a wait."""

from __future__ import annotations

from collections.abc import Sequence

from tubwater.tub import Step, StepKind

__all__ = ["fill_a_wait", "turns"]


def fill_a_wait(steps: Sequence[Step]) -> list[bool]:
    """For each step, whether it is a task done while the wait before it runs."""
    found: list[bool] = []
    waits = False
    for step in steps:
        beside = step.kind is StepKind.CHECK and bool(step.task) and waits
        waits = step.kind is StepKind.WAIT or beside
        found.append(beside)
    return found


def turns(steps: Sequence[Step]) -> int:
    """How many steps a visit counts."""
    rows = zip(steps, fill_a_wait(steps), strict=True)
    return sum(not beside and step.kind is not StepKind.WAIT for step, beside in rows)
