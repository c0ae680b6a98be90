"""What a visit means for the water: for each step that was done, the entry of a dose, a feeder, a drain or a task.

The deeds follow from the visit. After each thing that is said they are compared with what stands in the logbook, and
the difference is entered with it: a deed, its correction, or its withdrawal.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from tubwater.advice.beside_tub import Standing, Status, VisitEvent
from tubwater.advice.running import fold
from tubwater.errors import InputError
from tubwater.facts import care_steps
from tubwater.services.beside import events_of_visit
from tubwater.services.effective import Line, effective, table_of
from tubwater.services.ports import Kind, Stored
from tubwater.services.tubfile import parse_table
from tubwater.tub import Amount, Dosed, StepKind

__all__ = ["deeds_after", "grams_of"]

_DONE = (Status.DONE, Status.OTHER_AMOUNT, Status.NOT_SURE)
_FULL_TABLET = 20.0  # g, where the plan takes all tablets out (common practice)
_CLEANED = ("rinse-filter", "wipe-waterline")
_AS_CARE = {"new-filter": "replace-cartridge"}  # a step of a procedure that is a task of care by another name
_Part = tuple[Kind, str, dict[str, Any]]
_Deed = tuple[Kind, dict[str, Any]]


def deeds_after(entries: Sequence[Stored], visit: str, event: VisitEvent, now: datetime) -> list[_Part]:
    """The entries that have to be kept together with ``event``, as (kind, id, body)."""
    said = events_of_visit(entries, visit)
    before, wanted = _wanted(said, visit, now), _wanted([*said, event], visit, now)
    lines = {line.stored.entry.id: line for line in effective(entries)}
    parts: list[_Part] = []
    for name, deed in wanted.items():
        if before.get(name) != deed:
            parts += _entered(name, deed, lines, f"{event.id}~{len(parts)}")
    for name in sorted(before.keys() - wanted.keys()):
        gone = [n for n, line in lines.items() if line.stands and n.split("~")[0] == name]
        parts += [(Kind.WITHDRAWN, f"{event.id}~{len(parts) + i}", {"entry": n}) for i, n in enumerate(gone)]
    return parts


def _wanted(events: Sequence[VisitEvent], visit: str, now: datetime) -> dict[str, _Deed]:
    """The deeds that follow from what was said, by name."""
    rows = fold(events, now).steps
    return {f"{visit}.{row.key}{tail}": deed for row in rows for tail, deed in _deeds(row)}


def _entered(name: str, deed: _Deed, lines: Mapping[str, Line], correction: str) -> list[_Part]:
    """The deed, its correction, or nothing where it stands already."""
    kind, body = deed
    turns = [n for n in lines if n.split("~")[0] == name]
    standing = next((n for n in turns if lines[n].stands), None)
    if standing is None:
        return [(kind, f"{name}~{len(turns) + 1}", body)]
    if dict(lines[standing].body) == body:
        return []
    return [(Kind.CORRECTED, correction, {"entry": standing, "body": body})]


def _deeds(row: Standing) -> list[tuple[str, _Deed]]:
    """What a step did, each with the end of its name; nothing where it was not done."""
    if row.status not in _DONE or row.at is None:
        return []
    at, step = {"at": row.at.isoformat()}, row.step
    if step.kind is StepKind.DOSE and step.amount:
        sure = row.status is not Status.NOT_SURE
        body = {**at, "product": step.amount.product, **_as_measured(step.amount, row.grams), "sure": sure}
        return [("", (Kind.DOSED, body))] if row.grams > 0.0 else []
    if step.kind is StepKind.SET_FEEDER and step.amount:
        tablets = step.tablets
        if row.status is Status.OTHER_AMOUNT:
            tablets = round(row.grams / (step.amount.grams / step.tablets)) if step.tablets else 0.0
        body = {**at, "product": step.amount.product, "tablets": tablets, "opening": step.opening}
        return [("", (Kind.FEEDER, body))]
    if step.kind is StepKind.DRAIN:
        return [("", (Kind.DRAINED, {**at, "volume": f"{step.litres:g} L"}))]
    if step.kind is StepKind.FILL:
        if step.partial:  # what was let out is noted as replaced
            return []
        return [("", (Kind.FILLED, at | ({"volume": f"{step.litres:g} L"} if step.litres else {})))]
    tasks = _CLEANED if step.kind is StepKind.CLEAN else (_AS_CARE.get(step.task, step.task),) if step.task else ()
    return [(f".{task}", (Kind.CARED, {**at, "task": task})) for task in tasks if task in care_steps()]


def grams_of(
    entries: Sequence[Stored], row: Standing | None, amount: str, measures: float | None, now: datetime
) -> float:
    """The grams that a keeper means by an amount ("25 g") or a number of the product's own measures.

    Raises:
        InputError: it cannot be meant.
    """
    planned = row.step.amount if row else None
    if row is None or planned is None:
        raise InputError.one("step", "nothing", "a step at which something is added")
    if row.step.kind is StepKind.SET_FEEDER:
        return _tablets(measures) * (planned.grams / row.step.tablets if row.step.tablets else _FULL_TABLET)
    said: dict[str, Any] = {"product": planned.product}
    said |= {"amount": amount} if amount or measures is None else {"measures": measures}
    shelf = table_of([s for s in entries if s.entry.kind in (Kind.TUB, Kind.SHELF)])
    dosed = parse_table(shelf | {"dosed": [said]}, now).events[0]
    assert isinstance(dosed, Dosed)
    return dosed.grams


def _tablets(count: float | None) -> float:
    if count is None or not 0.0 <= count <= 60.0:
        raise InputError.one("measures", count, "the tablets that are in the feeder now, from 0 to 60")
    return count


def _as_measured(amount: Amount, grams: float) -> dict[str, Any]:
    """In the product's own measure where it comes out even, since a scoop is less exact than scales."""
    if amount.count > 0.0 and amount.measure:
        count = grams / (amount.grams / amount.count)
        if abs(2.0 * count - round(2.0 * count)) < 1e-6:
            return {"measures": round(2.0 * count) / 2.0}
    return {"amount": f"{grams:g} g"}
