"""Tasks of care that are due, and which of them fit into a wait."""

from __future__ import annotations

from datetime import timedelta

from tubwater.advice.now import Situation
from tubwater.facts import CareStep, care_steps
from tubwater.facts.quantity import Quantity
from tubwater.tub import Cared, Reason, Step, StepKind, Tub

__all__ = ["due_tasks", "fitting", "task_step"]

_TESTS = {"test-alkalinity": Quantity.TOTAL_ALKALINITY, "test-calcium": Quantity.CALCIUM_HARDNESS}
_EVERY_VISIT_DAYS = 7.0  # tasks at most this far apart are due from the first day


def due_tasks(case: Situation) -> list[CareStep]:
    """What is due now, the most frequent first; a rarer task is due once the logbook is as old as its interval."""
    has = _conditions(case.tub)
    tasks = sorted(care_steps().values(), key=lambda task: task.interval_days)
    return [task for task in tasks if task.condition in has and _is_due(case, task)]


def _conditions(tub: Tub) -> set[str]:
    equipment = tub.equipment
    found = {"always"}
    found |= {"pump"} if equipment.pump else set()
    found |= {"electric"} if equipment.pump or equipment.air_jets else set()
    found |= {"cover"} if equipment.cover else set()
    return found


def _is_due(case: Situation, task: CareStep) -> bool:
    events = case.belief.events
    if task.key in _TESTS:
        read = case.readings(_TESTS[task.key])
        return not read or case.now - read[0].at >= timedelta(days=task.interval_days)
    done = [e.at for e in events if isinstance(e, Cared) and e.task == task.key]
    interval = timedelta(days=task.interval_days)
    if done:
        return case.now - max(done) >= interval
    known_since = min((e.at for e in events), default=case.now)
    return task.interval_days <= _EVERY_VISIT_DAYS or case.now - known_since >= interval


def fitting(tasks: list[CareStep], minutes: float) -> list[CareStep]:
    """Takes from ``tasks`` (in place) those that fit one after another into a wait with the pump running."""
    taken: list[CareStep] = []
    for task in list(tasks):
        if not task.pump_off and task.minutes <= minutes - sum(t.minutes for t in taken):
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
