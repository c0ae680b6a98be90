"""The tub, the shelf and the tests that the tub-side scenes share."""

from __future__ import annotations

from datetime import UTC, datetime

from tubwater.advice import Occasion, Wishes
from tubwater.facts import Quantity
from tubwater.facts.quantity import OxidantScale
from tubwater.tub import (
    Answer,
    Clarity,
    FillWater,
    Measure,
    MeasureKind,
    Noticed,
    Plan,
    Product,
    Reading,
    Sanitizer,
    Shelf,
    StepKind,
    Tub,
    VolumeBasis,
)
from tubwater.tub import (
    Tested as Readings,
)

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
TUB = Tub("cabin", 1300.0, Sanitizer.BROMINE)
SCOOP = (Measure(MeasureKind.SCOOP, 10.0),)
SHELF = Shelf(
    (
        Product("dry acid", "sodium-bisulfate", 0.93, SCOOP),
        Product("bicarbonate", "sodium-bicarbonate", 0.99, SCOOP),
        Product("soda ash", "sodium-carbonate", 0.99, SCOOP),
        Product("oxidizer", "monopersulfate", 0.88, SCOOP),
        Product("tablets", "bcdmh", 0.96, tablet_grams=20.0),
    )
)
CLEAR = Noticed(NOW, Clarity.CLEAR, unlogged_soak=Answer.NO)


def reading(quantity: Quantity, value: float, method: str = "strip", at: datetime = NOW) -> Reading:
    scale = OxidantScale.AS_BR2 if quantity is Quantity.BROMINE else None
    unit = "pH" if quantity is Quantity.PH else "mg/L"
    return Reading(quantity, value, value, unit, method, at, scale)


def a_test(
    bromine: float, ph: float, alkalinity: float | None = None, method: str = "strip", at: datetime = NOW
) -> Readings:
    found = [reading(Quantity.BROMINE, bromine, method, at), reading(Quantity.PH, ph, method, at)]
    if alkalinity is not None:
        found.append(reading(Quantity.TOTAL_ALKALINITY, alkalinity, "strip", at))
    return Readings(at, tuple(found))


def kinds(plan: Plan) -> list[StepKind]:
    return [step.kind for step in plan.steps]


def doses(plan: Plan) -> list[str]:
    return [step.amount.substance for step in plan.steps if step.kind is StepKind.DOSE and step.amount]


def filled_tub(**fill: float) -> Tub:
    values = {Quantity[name.upper()]: value for name, value in fill.items()}
    return Tub("cabin", 1300.0, Sanitizer.BROMINE, VolumeBasis.METERED, fill=FillWater(values, "utility report"))


BANK = Product("bromide", "sodium-bromide", 0.99)
CALCIUM = Product("calcium", "calcium-chloride-dihydrate", 0.98)
FULL_SHELF = Shelf((*SHELF.products, BANK, CALCIUM))
FRESH = Wishes(occasion=Occasion.FRESH_WATER)
