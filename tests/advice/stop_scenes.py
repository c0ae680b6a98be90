"""What the scenes of stopped tubs share."""

from __future__ import annotations

from datetime import datetime

from advice.scenes import FULL_SHELF, NOW, SCOOP, SHELF, TUB, kinds
from tubwater.advice import Wishes, judge
from tubwater.facts.situations import Then, procedures
from tubwater.services import plan_for
from tubwater.services.advise import case_of
from tubwater.tub import (
    Clarity,
    Event,
    Noticed,
    Plan,
    Product,
    Shelf,
    Sign,
    StepKind,
    Verdict,
)

MEMBERS = 64  # as the rules use
BLEACH = Product("bleach", "sodium-hypochlorite", 0.125, SCOOP)
CHANGED = {
    Sign.FORMED_STOOL: "stool-or-vomit",
    Sign.VOMIT: "stool-or-vomit",
    Sign.DIARRHOEA: "diarrhoea",
    Sign.ANIMAL_OR_FLOOD: "diarrhoea",
    Sign.GERMS: "germs",
    Sign.LEGIONELLA: "legionella",
    Sign.SLIME: "slime",
}
STOPPED = {
    Sign.CONTAMINATION: "contamination",
    Sign.ILLNESS: "illness",
    Sign.SUCTION_COVER_MISSING: "suction-cover",
    Sign.PUMP_FAILED: "pump-failed",
    Sign.PROTECTION_TRIPPED: "protective-device",
}
READ = [p for p in procedures().values() if p.then is not Then.TREAT and p.key != "stays-cloudy"]
TREATED = {Sign.BLOOD: "blood", Sign.STRONG_SMELL: "strong-smell", Sign.LASTING_FOAM: "lasting-foam"}


def plan_of(*events: Event, now: datetime = NOW, wishes: Wishes | None = None, shelf: Shelf = FULL_SHELF) -> Plan:
    return plan_for(TUB, shelf, events, now, wishes, members=3 * MEMBERS)


def verdict_of(*events: Event, now: datetime = NOW) -> Verdict:
    return judge(case_of(TUB, SHELF, events, now, members=MEMBERS))


def saw(*signs: Sign, clarity: Clarity = Clarity.CLEAR, at: datetime = NOW, lapse: float | None = None) -> Noticed:
    return Noticed(at, clarity, frozenset(signs), lapse)


def whys(plan: Plan) -> set[str]:
    return {reason.kind for step in plan.steps for reason in step.reasons}


def places(plan: Plan, *wanted: StepKind) -> list[StepKind]:
    return [kind for kind in kinds(plan) if kind in wanted]
