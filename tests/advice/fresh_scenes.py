"""The tubs, the shelves and the questions that the scenes of fresh water share."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

from tubwater.advice import Occasion, Wishes
from tubwater.facts import Quantity
from tubwater.services import plan_for
from tubwater.tub import (
    Event,
    FillWater,
    Measure,
    MeasureKind,
    Plan,
    Product,
    Sanitizer,
    Shelf,
    Step,
    StepKind,
    Tub,
    TubKind,
    VolumeBasis,
    equipment_of,
)

MEMBERS = 256  # as many as a timeline is worked out on
NOW = datetime(2026, 11, 26, 9, 0, tzinfo=UTC)
SCOOP, SPOON = (Measure(MeasureKind.SCOOP, 10.0),), (Measure(MeasureKind.SPOON, 15.0),)
SCALES = (Measure(MeasureKind.SCALE, 1.0, 0.02, 1.0),)
COMMON = (
    Product("dry acid", "sodium-bisulfate", 0.93, SPOON),
    Product("bicarbonate", "sodium-bicarbonate", 0.99, (Measure(MeasureKind.SCOOP, 30.0),)),
    Product("soda ash", "sodium-carbonate", 0.99, SPOON),
    Product("calcium", "calcium-chloride-dihydrate", 0.99, (Measure(MeasureKind.SCOOP, 30.0),)),
)
OXIDIZER, BANK = Product("oxidizer", "monopersulfate", 0.88, SCOOP), Product("bromide", "sodium-bromide", 0.99, SCALES)
TABLETS = Product("tablets", "bcdmh", 0.96, tablet_grams=20.0)
SHELF = Shelf((*COMMON, OXIDIZER, TABLETS, BANK))
CHLORINE_SHELF = Shelf(
    (*COMMON, Product("liquid chlorine", "sodium-hypochlorite", 0.10, (Measure(MeasureKind.CAP, 20.0),)))
)
FRESH = Wishes(occasion=Occasion.FRESH_WATER)
ACID_OR_BASE = {"sodium-bisulfate", "sodium-bicarbonate", "sodium-carbonate"}
ORDINARY = {"total_alkalinity": 110.0, "calcium_hardness": 140.0, "ph": 7.6}


def a_tub(
    litres: float = 1300.0,
    kind: TubKind = TubKind.ACRYLIC,
    sanitizer: Sanitizer = Sanitizer.BROMINE,
    source: str = "utility report",
    **fill: float,
) -> Tub:
    values = {Quantity[name.upper()]: value for name, value in fill.items()}
    tub = Tub("cabin", litres, sanitizer, VolumeBasis.METERED, kind, equipment_of(kind))
    return replace(tub, fill=FillWater(values, source))


def fresh(tub: Tub, shelf: Shelf = SHELF, wishes: Wishes = FRESH, events: tuple[Event, ...] = ()) -> Plan:
    return plan_for(tub, shelf, events, NOW, wishes, members=MEMBERS)


def of(plan: Plan, kind: StepKind) -> list[Step]:
    return [step for step in plan.steps if step.kind is kind]


def doses(plan: Plan) -> list[str]:
    return [step.amount.substance for step in of(plan, StepKind.DOSE) if step.amount]


def notes(plan: Plan) -> set[str]:
    return {reason.kind for reason in plan.notes}


def why(step: Step) -> set[str]:
    return {reason.kind for reason in step.reasons}


def read(step: Step, quantity: Quantity) -> float:
    return next(e.median for e in step.expected if e.quantity is quantity)


def place(plan: Plan, substance: str) -> int:
    return next(i for i, s in enumerate(plan.steps) if s.amount and s.amount.substance == substance)


def heating(plan: Plan) -> int:
    return next(i for i, s in enumerate(plan.steps) if s.kind is StepKind.HEAT)
