"""The range lines of a tub: what is believed, what the plan makes of it, what was read, against the guideline."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from tubwater.reports.charts import RangeLine, Table, range_line, range_sentence, range_table
from tubwater.reports.scale import shown, with_unit
from tubwater.services.advise import WaterReport
from tubwater.services.kits import limits_of
from tubwater.services.tested import last_readings
from tubwater.services.tubfile import TubFile, UnitSystem
from tubwater.tub import Expectation, Plan, Quantity, Reason
from tubwater.web.show import explain

__all__ = ["Line", "lines_of"]


@dataclass(frozen=True)
class Line:
    """A range line ready for a page; ``value`` is what is believed, ``basis`` where the limits come from."""

    quantity: Quantity
    value: str
    picture: Markup
    sentence: str
    table: Table
    basis: Markup


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
            found.append(_shown(line, units))
    return found


def _ends(plan: Plan) -> Sequence[Expectation]:
    """What a plan leads to, where it adds anything."""
    return plan.end if any(step.amount for step in plan.steps) else ()


def _shown(line: RangeLine, units: UnitSystem) -> Line:
    believed = line.believed
    value = with_unit(shown(believed.median, line.quantity, units), line.quantity, units) if believed else ""
    return Line(
        line.quantity,
        value,
        Markup(range_line(line, units=units)),
        range_sentence(line, units),
        range_table(line, units),
        explain(Reason("", basis=line.limits.basis)),
    )
