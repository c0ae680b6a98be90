"""The one next thing to do at a tub."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from tubwater.services.due import Due, DueKind
from tubwater.services.upkeep import due_of_tub
from tubwater.tub import Plan, Step, StepKind
from tubwater.web.desk import Desk
from tubwater.web.turns import turns

__all__ = ["Next", "dues_of", "next_thing"]

_AT_ONCE = 5.0  # min, within which a step may as well be done now
_DAYS = 30.0  # how far what becomes due is looked for
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
    """What comes next: "test", "plan", "due" or "nothing"; the step it begins with, the first dose, and how much.

    Attributes:
        steps: how many a visit counts. minutes: until the last of them is over, min.
        dues: what is due now or later, the first of it first, where the plan has no work.
    """

    kind: str
    plan: Plan
    step: Step | None = None
    dose: Step | None = None
    steps: int = 0
    minutes: float = 0.0
    dues: tuple[Due, ...] = ()

    @property
    def _fresh(self) -> Due | None:
        """The test without which nobody may get in any more."""
        return next((due for due in self.dues if due.kind is DueKind.TEST and not due.every), None)

    @property
    def test_now(self) -> bool:
        """Whether that test is due already."""
        return self._fresh is not None and self._fresh.now

    @property
    def test(self) -> Due | None:
        """That test, where it is still to come and something else is due before it."""
        return None if self.test_now or self._fresh is self.due else self._fresh

    @property
    def due(self) -> Due | None:
        """What is due first, until the next visit; None where nothing is, or the plan has work."""
        first = self._fresh if self.test_now else next(iter(self.dues), None)
        return first if first and (first.now or first.at < self.plan.next_visit) else None

    @property
    def as_well(self) -> int:
        """How many things beside the first are due now."""
        return max(sum(due.now for due in self.dues) - 1, 0)

    @property
    def waits_until(self) -> datetime | None:
        """From when on the step counts; None where it may as well be done now."""
        if self.step is None or self.step.starts_at < _AT_ONCE:
            return None
        return self.plan.begins + timedelta(minutes=self.step.starts_at)


def next_thing(desk: Desk, tub: str) -> Next:
    """What to do now, read off the plan; where it has no work, off what is due."""
    plan = desk.answers.plan(tub)
    work = [step for step in plan.steps if step.kind in _WORK and not step.by]
    if not work:
        dues = dues_of(desk, tub)
        return Next("due" if dues and dues[0].now else "nothing", plan, dues=dues)
    length = max(step.starts_at + step.minutes for step in plan.steps if not step.by)
    dose = next((step for step in work if step.kind is StepKind.DOSE), None)
    kind = "test" if work[0].kind is StepKind.TEST else "plan"
    return Next(kind, plan, work[0], dose, turns(plan.steps), length)


def dues_of(desk: Desk, tub: str) -> tuple[Due, ...]:
    """What is due at a tub now and in the coming days, the same for a minute where nothing is entered."""
    asked = ("due", desk.method(tub))
    return desk.answers.besides(tub, asked, lambda: due_of_tub(desk.answers, desk.kits, tub, desk.file(tub), _DAYS))
