"""How many steps of a plan have a turn of their own."""

from __future__ import annotations

from collections.abc import Sequence

from tubwater.services.visits import fill_a_wait
from tubwater.tub import Step, StepKind

__all__ = ["turns"]


def turns(steps: Sequence[Step]) -> int:
    """How many steps a visit counts."""
    rows = zip(steps, fill_a_wait(steps), strict=True)
    return sum(not beside and step.kind is not StepKind.WAIT for step, beside in rows)
