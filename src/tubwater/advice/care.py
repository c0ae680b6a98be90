"""Tasks of care that are due, and which of them fit into a wait."""

from __future__ import annotations

from tubwater.advice.care_dates import applies, care_date
from tubwater.advice.now import Situation
from tubwater.facts import CareStep, care_steps
from tubwater.tub import Reason, Step, StepKind

__all__ = ["due_tasks", "fitting", "task_step"]

_FEEDER = "feeder"  # left to lists and calendars: a plan sets the feeder anyway


def due_tasks(case: Situation) -> list[CareStep]:
    """What is due now, the most frequent first; a rarer task is due once the logbook is as old as its interval."""
    events = case.belief.events
    tasks = sorted(care_steps().values(), key=lambda task: task.interval_days)
    mine = [task for task in tasks if task.condition != _FEEDER and applies(task, case.tub)]
    return [task for task in mine if care_date(task, events, case.now).due <= case.now]


def fitting(tasks: list[CareStep], minutes: float, pump_off: bool = False) -> list[CareStep]:
    """Takes from ``tasks`` (in place) those that fit one after another into so many minutes, the pump on or off."""
    taken: list[CareStep] = []
    for task in list(tasks):
        if task.pump_off is pump_off and task.minutes <= minutes - sum(t.minutes for t in taken):
            taken.append(task)
            tasks.remove(task)
    return taken


def task_step(task: CareStep, starts_at: float) -> Step:
    """A task of care as a step of a plan."""
    reason = Reason("care-due", {"days": task.interval_days}, task.basis)
    cautions = ("electric-off",) if task.pump_off else ()
    return Step(
        StepKind.CHECK,
        minutes=task.minutes,
        reasons=(reason,),
        cautions=cautions,
        optional=True,
        task=task.key,
        starts_at=starts_at,
    )
