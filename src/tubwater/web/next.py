"""The one next thing to do at a tub."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from tubwater.tub import Plan, Step, StepKind
from tubwater.web.desk import Desk
from tubwater.web.turns import turns

__all__ = ["Next", "next_thing"]

_AT_ONCE = 5.0  # min, within which a step may as well be done now
_WORK = (
    StepKind.CALL,
    StepKind.DRAIN,
    StepKind.FILL,
    StepKind.TEST,
    StepKind.DOSE,
    StepKind.SET_FEEDER,
    StepKind.CLEAN,
    StepKind.HEAT,
)


@dataclass(frozen=True)
class Next:
    """What comes next: "test", "plan" or "nothing"; the step it begins with, the first dose, and how much there is.

    Attributes:
        steps: how many a visit counts. minutes: until the last of them is over, min.
    """

    kind: str
    plan: Plan
    step: Step | None = None
    dose: Step | None = None
    steps: int = 0
    minutes: float = 0.0

    @property
    def waits_until(self) -> datetime | None:
        """From when on the step counts; None where it may as well be done now."""
        if self.step is None or self.step.starts_at < _AT_ONCE:
            return None
        return self.plan.begins + timedelta(minutes=self.step.starts_at)


def next_thing(desk: Desk, tub: str) -> Next:
    """What to do now, read off the plan."""
    plan = desk.answers.plan(tub)
    work = [step for step in plan.steps if step.kind in _WORK and not step.by]
    if not work:
        return Next("nothing", plan)
    length = max(step.starts_at + step.minutes for step in plan.steps if not step.by)
    dose = next((step for step in work if step.kind is StepKind.DOSE), None)
    kind = "test" if work[0].kind is StepKind.TEST else "plan"
    return Next(kind, plan, work[0], dose, turns(plan.steps), length)
