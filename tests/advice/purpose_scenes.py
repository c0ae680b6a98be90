"""The tubs, shelves and plans that the scenes of purposes share; a plan is made once."""

from __future__ import annotations

from dataclasses import replace

from advice.scenes import CLEAR, FULL_SHELF, NOW, SCOOP, TUB, a_test, reading
from advice.stop_scenes import BLEACH
from tubwater.advice import About, Wishes
from tubwater.facts import OxidantScale, Quantity
from tubwater.services import plan_for
from tubwater.tub import (
    Event,
    Plan,
    Product,
    Reading,
    Reason,
    Sanitizer,
    Shelf,
    Step,
    StepKind,
    Tested,
    Tub,
    TubKind,
    equipment_of,
)

MEMBERS = 300  # with few, a tail of the draw decides what is refused
CHLORINE = replace(TUB, sanitizer=Sanitizer.CHLORINE)
WOOD = replace(TUB, kind=TubKind.WOOD_FIRED, equipment=equipment_of(TubKind.WOOD_FIRED))
INFLATABLE = replace(TUB, litres=900.0, kind=TubKind.INFLATABLE, equipment=equipment_of(TubKind.INFLATABLE))
SLOW = Product("slow chlorine", "trichlor", 0.9, tablet_grams=20.0)
GRANULES = Product("chlorine granules", "dichlor-dihydrate", 0.99, SCOOP)
BOTH = Shelf((*FULL_SHELF.products, BLEACH, SLOW, GRANULES))
GOOD: tuple[Event, ...] = (CLEAR, a_test(4.0, 7.6, 90.0, "photometer"))


def chlorine_test(value: float, ph: float) -> Tested:
    read = Reading(Quantity.FREE_CHLORINE, value, value, "mg/L", "photometer", NOW, OxidantScale.AS_CL2)
    rest = (reading(Quantity.PH, ph, "photometer"), reading(Quantity.TOTAL_ALKALINITY, 90.0, "drop-titration"))
    return Tested(NOW, (read, *rest))


GOOD_CHLORINE: tuple[Event, ...] = (CLEAR, chlorine_test(4.0, 7.5))


_MADE: dict[str, Plan] = {}


def about(
    key: str,
    tub: Tub = TUB,
    shelf: Shelf = BOTH,
    events: tuple[Event, ...] | None = None,
    wishes: Wishes | None = None,
    **said: float,
) -> Plan:
    """The plan for a purpose."""
    good = GOOD if tub.sanitizer is Sanitizer.BROMINE else GOOD_CHLORINE
    wanted = replace(wishes or Wishes(), about=About(key, **said))  # type: ignore[arg-type]
    asked = (tub, shelf, good if events is None else events, NOW, wanted)
    if repr(asked) not in _MADE:
        _MADE[repr(asked)] = plan_for(*asked, members=MEMBERS)
    return _MADE[repr(asked)]


def tasks(plan: Plan) -> list[str]:
    """Tasks of the plan in order."""
    return [step.task for step in plan.steps if step.task]


def of(plan: Plan, kind: StepKind) -> list[Step]:
    """Steps of a kind."""
    return [step for step in plan.steps if step.kind is kind]


def whys(plan: Plan) -> list[str]:
    """Kinds of all reasons of the steps, in order."""
    return [reason.kind for step in plan.steps for reason in step.reasons]


def note(plan: Plan, kind: str) -> Reason:
    """The one note of a kind."""
    (found,) = (reason for reason in plan.notes if reason.kind == kind)
    return found


def notes(plan: Plan) -> set[str]:
    """Kinds of all notes."""
    return {reason.kind for reason in plan.notes}


def substances_of(plan: Plan) -> set[str]:
    """Substances that go in."""
    return {step.amount.substance for step in plan.steps if step.amount and step.amount.grams > 0.0}
