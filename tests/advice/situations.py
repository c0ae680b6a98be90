"""The scenarios of every situation: what is asked stands in situations.toml, the tubs and logbooks here."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import timedelta
from pathlib import Path
from typing import Any

from advice.purpose_scenes import BOTH, CHLORINE, GOOD, INFLATABLE, MEMBERS, WOOD, about, chlorine_test
from advice.scenes import CLEAR, FULL_SHELF, NOW, SHELF, TUB, a_test, filled_tub, reading
from tubwater.advice import Occasion, Wishes
from tubwater.facts import Quantity
from tubwater.services import plan_for
from tubwater.tub import Answer, Clarity, Dosed, Drained, Event, Noticed, Plan, Shelf, Sign, Soaked, Step, StepKind
from tubwater.tub import Tested as Readings

__all__ = ["Scene", "plan_of", "said_by", "scenes", "taken"]


@dataclass(frozen=True)
class Scene:
    """One scenario, as its table describes it."""

    situation: str
    name: str
    source: str
    steps: tuple[str, ...]
    because: tuple[str, ...]
    about: str = ""
    procedure: str = ""
    never: tuple[str, ...] = ()
    said: Mapping[str, float] = field(default_factory=dict)
    given: Mapping[str, str] = field(default_factory=dict)

    @property
    def id(self) -> str:
        """How a report of tests calls it."""
        return f"{self.situation}: {self.name}"


def scenes() -> list[Scene]:
    """All of them, in the order of the table."""
    table = tomllib.loads(Path(__file__).with_suffix(".toml").read_text(encoding="utf-8"))
    return [_scene(situation, row) for situation, rows in table.items() for row in rows]


def _scene(situation: str, row: dict[str, Any]) -> Scene:
    given = {name: row.pop(name) for name in _GIVEN if name in row}
    lists: dict[str, Any] = {name: tuple(row.pop(name)) for name in ("steps", "because", "never") if name in row}
    return Scene(situation, given=given, **lists, **row)


def plan_of(scene: Scene) -> Plan:
    """The plan of a scene."""
    given: dict[str, Any] = {name: _GIVEN[name][key] for name, key in scene.given.items()}
    if scene.about:
        return about(scene.about, **given, **scene.said)
    return plan_for(**{"tub": TUB, "shelf": BOTH, "events": GOOD, **given}, now=NOW, members=MEMBERS)


def taken(plan: Plan) -> list[str]:
    """Tasks, substances that go in, and kinds of the steps in order."""
    return [_name_of(step) for step in plan.steps if step.kind is not StepKind.WAIT]


def _name_of(step: Step) -> str:
    substance = step.amount.substance if step.amount and step.amount.grams > 0.0 else ""
    return step.task or substance or step.kind.value


def said_by(plan: Plan) -> set[str]:
    """Kinds of everything that the plan gives as a reason, tells, wants or refuses."""
    told = (*plan.notes, *plan.fit_when, *plan.refused, *plan.shopping, *plan.verdict.reasons)
    return {reason.kind for step in plan.steps for reason in step.reasons} | {reason.kind for reason in told}


def _read(bromine: float, ph: float, alkalinity: float, hardness: float | None = None) -> tuple[Event, ...]:
    rows = a_test(bromine, ph, alkalinity, "photometer").readings
    more = () if hardness is None else (reading(Quantity.CALCIUM_HARDNESS, hardness, "drop-titration"),)
    return CLEAR, Readings(NOW, (*rows, *more))


def _titrated(bromine: float, ph: float, alkalinity: float) -> tuple[Event, ...]:
    rows = a_test(bromine, ph, method="photometer").readings
    return CLEAR, Readings(NOW, (*rows, reading(Quantity.TOTAL_ALKALINITY, alkalinity, "drop-titration")))


def _saw(*signs: Sign) -> tuple[Event, ...]:
    return Noticed(NOW, Clarity.CLEAR, frozenset(signs)), a_test(4.0, 7.5, 90.0, "photometer")


def _saw_in_chlorine(sign: Sign) -> tuple[Event, ...]:
    return Noticed(NOW, Clarity.CLEAR, frozenset((sign,))), chlorine_test(4.0, 7.5)


def _murky_since_a_shock(product: str, test: Readings) -> tuple[Event, ...]:
    """Murky a day ago, shocked at once, and murky still."""
    then = NOW - timedelta(hours=25)
    looks = [Noticed(at, Clarity.CLOUDY, unlogged_soak=Answer.NO) for at in (then, NOW)]
    return looks[0], Dosed(then + timedelta(minutes=5), product, 60.0), looks[1], test


def _without(*names: str) -> Shelf:
    return Shelf(tuple(p for p in BOTH.products if p.name not in names))


KNOWN = filled_tub(calcium_hardness=140.0, total_alkalinity=110.0, ph=7.5)
LOST = _read(0.0, 7.5, 90.0)
TUBS = {
    "wood": WOOD,
    "inflatable": INFLATABLE,
    "chlorine": CHLORINE,
    "known": KNOWN,
    "chlorine known": replace(CHLORINE, fill=KNOWN.fill),
    "wood known": replace(WOOD, fill=KNOWN.fill),
    "hard": filled_tub(calcium_hardness=380.0, total_alkalinity=250.0, ph=7.7),
    "soft": filled_tub(calcium_hardness=15.0, total_alkalinity=30.0, ph=7.0),
}
SHELVES = {
    "no bromide": _without("bromide"),
    "no oxidizer": _without("oxidizer"),
    "no oxidizer, no bleach": _without("oxidizer", "bleach"),
    "no bleach": _without("bleach"),
    "tablets alone": Shelf(tuple(p for p in SHELF.products if p.name != "oxidizer")),
    "no calcium": SHELF,
    "no chlorine": FULL_SHELF,
}
LOGBOOKS: Mapping[str, tuple[Event, ...]] = {
    "nothing": (),
    "looked": (CLEAR,),
    "lost": LOST,
    "sour and lost": _read(0.0, 7.2, 40.0),
    "old": (a_test(4.0, 7.5, 90.0, at=NOW - timedelta(days=6)),),
    "empty": (Drained(NOW - timedelta(days=120), 1300.0),),
    "emptied now": (CLEAR, Drained(NOW, 1300.0)),
    "bleached": (
        a_test(4.0, 7.5, 90.0, at=NOW - timedelta(hours=3)),
        Dosed(NOW - timedelta(hours=2), "oxidizer", 150.0),
        *LOST,
    ),
    "high": (CLEAR, a_test(14.0, 7.5, 90.0, "photometer")),
    "high chlorine": (CLEAR, chlorine_test(12.0, 7.5)),
    "low alkalinity": _read(4.0, 7.5, 35.0),
    "high alkalinity": _read(4.0, 8.1, 220.0),
    "rising": _read(4.0, 7.9, 120.0),
    "rising, low alkalinity": _titrated(4.0, 7.7, 66.0),
    "soft": _read(4.0, 7.3, 40.0, 25.0),
    "scaling": _read(4.0, 7.9, 150.0, 330.0),
    "no scale": _read(4.0, 7.2, 65.0),
    "vomit": _saw(Sign.VOMIT),
    "animal": _saw(Sign.ANIMAL_OR_FLOOD),
    "contamination": _saw(Sign.CONTAMINATION),
    "contamination of chlorine": _saw_in_chlorine(Sign.CONTAMINATION),
    "contamination, nothing read": (Noticed(NOW, Clarity.CLEAR, frozenset((Sign.CONTAMINATION,))),),
    "illness": _saw(Sign.ILLNESS),
    "slime": _saw(Sign.SLIME),
    "slime of chlorine": _saw_in_chlorine(Sign.SLIME),
    "suction cover": _saw(Sign.SUCTION_COVER_MISSING),
    "suction cover of chlorine": _saw_in_chlorine(Sign.SUCTION_COVER_MISSING),
    "suction cover, lost": (Noticed(NOW, Clarity.CLEAR, frozenset((Sign.SUCTION_COVER_MISSING,))), LOST[1]),
    "tripped": _saw(Sign.PROTECTION_TRIPPED),
    "tripped, slime": _saw(Sign.PROTECTION_TRIPPED, Sign.SLIME),
    "pump": _saw(Sign.PUMP_FAILED),
    "pump of chlorine": _saw_in_chlorine(Sign.PUMP_FAILED),
    "pump, lost": (Noticed(NOW, Clarity.CLEAR, frozenset((Sign.PUMP_FAILED,))), LOST[1]),
    "murky since a shock": _murky_since_a_shock("oxidizer", a_test(4.0, 7.5, 90.0, "photometer")),
    "murky since a shock of chlorine": _murky_since_a_shock("bleach", chlorine_test(4.0, 7.5)),
    "crowd": (
        Soaked(NOW - timedelta(hours=4), 4.0, 120.0),
        Noticed(NOW, Clarity.HAZY, unlogged_soak=Answer.NO),
        LOST[1],
    ),
}
WISHES = {"named": Wishes(later_by="Robin"), "unknown history": Wishes(occasion=Occasion.UNKNOWN_HISTORY)}
_GIVEN: Mapping[str, Mapping[str, Any]] = {"tub": TUBS, "shelf": SHELVES, "events": LOGBOOKS, "wishes": WISHES}
