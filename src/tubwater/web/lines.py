"""The range lines of a tub: what is believed, what the plan makes of it, what was read, against the guideline."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from markupsafe import Markup

from tubwater.reports.charts import RangeLine, Table, range_line, range_sentence, range_table
from tubwater.reports.scale import shown, with_unit
from tubwater.services.advise import WaterReport
from tubwater.services.kits import limits_of, sanitizer_of
from tubwater.services.tested import LastReading, last_readings
from tubwater.services.tubfile import TubFile, UnitSystem
from tubwater.tub import Dosed, Expectation, Plan, Quantity, Reason, Soaked
from tubwater.web.show import explain, say

__all__ = ["Line", "lines_of"]

_OLD = timedelta(hours=12)  # from which on a reading of the sanitizer is told with its age (judgement)


@dataclass(frozen=True)
class Line:
    """A range line ready for a page; ``value`` is what is believed, ``basis`` where the limits come from.

    ``since`` is what stands between the last reading and what is believed now, "" for nothing.
    """

    quantity: Quantity
    value: str
    picture: Markup
    sentence: str
    table: Table
    basis: Markup
    since: str


def lines_of(file: TubFile, water: WaterReport, plan: Plan, units: UnitSystem) -> list[Line]:
    """One line for each quantity that the guideline limits."""
    limits, last = limits_of(file.tub), last_readings(file.events)
    planned = {found.quantity: found for found in _ends(plan)}
    found = []
    for believed in water.quantities:
        if believed.quantity in limits:
            reading = last.get(believed.quantity)
            line = RangeLine(
                believed.quantity,
                limits[believed.quantity],
                believed,
                planned.get(believed.quantity),
                (reading.low, reading.high) if reading else None,
                reading.method if reading else "",
            )
            counts = reading if believed.quantity is sanitizer_of(file.tub) else None
            found.append(_shown(line, units, _since(file, counts, plan.begins) if counts else ""))
    return found


def _since(file: TubFile, reading: LastReading, now: datetime) -> str:
    """Why what is believed need not be what was read: who was in and what went in since, or how old the reading is."""
    later = [event for event in file.events if event.at > reading.at]
    counts = {
        "soaks": sum(isinstance(event, Soaked) for event in later),
        "doses": sum(isinstance(event, Dosed) for event in later),
    }
    parts = [say(f"tub.since.{what}{'.one' if n == 1 else ''}", count=n) for what, n in counts.items() if n]
    if parts:
        return say("tub.since", what=", ".join(parts))
    age = now - reading.at
    return say("tub.since.age", hours=age.total_seconds() / 3600.0) if age >= _OLD else ""


def _ends(plan: Plan) -> Sequence[Expectation]:
    """What a plan leads to, where it adds anything."""
    return plan.end if any(step.amount for step in plan.steps) else ()


def _shown(line: RangeLine, units: UnitSystem, since: str) -> Line:
    believed = line.believed
    value = with_unit(shown(believed.median, line.quantity, units), line.quantity, units) if believed else ""
    return Line(
        line.quantity,
        value,
        Markup(range_line(line, units=units)),
        range_sentence(line, units),
        range_table(line, units),
        explain(Reason("", basis=line.limits.basis)),
        since,
    )
