"""Water that twice read low in pH gets something that raises it, though the alkalinity read well."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from tubwater.facts import Quantity
from tubwater.facts.quantity import OxidantScale
from tubwater.services import plan_for
from tubwater.tub import Clarity, Event, Measure, MeasureKind, Noticed, Product, Reading, Sanitizer, Shelf, Tub
from tubwater.tub import Tested as Readings

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
TUB = Tub("cabin", 1300.0, Sanitizer.BROMINE)
SHELF = Shelf(
    (
        Product("bicarbonate", "sodium-bicarbonate", 0.99, (Measure(MeasureKind.SCOOP, 30.0),)),
        Product("soda ash", "sodium-carbonate", 0.99, (Measure(MeasureKind.SPOON, 12.0),)),
        Product("oxidizer", "monopersulfate", 0.88, (Measure(MeasureKind.SCOOP, 10.0),)),
        Product("tablets", "bcdmh", 0.96, tablet_grams=20.0),
    )
)


def strip(bromine: float, ph: float, alkalinity: float) -> Readings:
    read = Reading(Quantity.BROMINE, bromine, bromine, "mg/L", "strip", NOW, OxidantScale.AS_BR2)
    rest = [(Quantity.PH, ph, "pH"), (Quantity.TOTAL_ALKALINITY, alkalinity, "mg/L")]
    return Readings(NOW, (read, *(Reading(q, v, v, unit, "strip", NOW) for q, v, unit in rest)))


def test_a_ph_that_read_low_twice_is_raised_even_where_the_alkalinity_read_well() -> None:
    first = strip(5.0, 6.8, 80.0)
    second = Readings(NOW, (replace(first.readings[1], at=NOW - timedelta(minutes=2)),))
    events: list[Event] = [Noticed(NOW, Clarity.CLEAR), replace(second, at=NOW - timedelta(minutes=2)), first]
    plan = plan_for(TUB, SHELF, events, NOW)
    raised = [s for s in plan.steps if s.amount and s.amount.substance in ("sodium-bicarbonate", "sodium-carbonate")]
    assert raised
    after = {e.quantity: e.median for e in raised[-1].expected}
    before = next(r for r in plan.verdict.reasons if r.kind.startswith("reading"))
    assert after[Quantity.PH] > float(before.values["value"])
