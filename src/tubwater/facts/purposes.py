"""What a plan can be asked for beside the usual visit: goals and constraints as data, typed and cited."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cache
from types import MappingProxyType
from typing import Any

from tubwater.facts.basis import Basis
from tubwater.facts.quantity import Quantity
from tubwater.facts.read import basis_of, table
from tubwater.facts.situations import Deed, deed_of

__all__ = ["Ask", "Purpose", "Rinse", "Way", "purposes"]


class Way(StrEnum):
    """Which part of the planner makes the plan."""

    ANEW = "anew"  # the water goes, and fresh water is started
    EMPTY = "empty"  # the water goes, and the tub stays empty
    AWAY = "away"  # the water stays and nobody is there
    BACK = "back"  # somebody is there again
    PARTY = "party"  # many people at once
    SOAKED = "soaked"  # people were in just now
    GOALS = "goals"  # the usual plan with narrower aims
    SIGNS = "signs"  # the usual plan as if something had been noted
    OVERNIGHT = "overnight"  # what a night takes
    PART = "part"  # part of the water goes
    METALS = "metals"  # as much of it as brings a metal down
    COMPLAINT = "complaint"  # fixed advice


@dataclass(frozen=True)
class Ask:
    """A number that is asked for: what is taken where nobody says it (None is nothing), and its range."""

    usual: float | None
    low: float
    high: float


@dataclass(frozen=True)
class Rinse:
    """What may be left of something in the tub, mg/L, before water that stays is filled in."""

    of: str
    most: float


@dataclass(frozen=True)
class Purpose:
    """One thing that a plan can be asked for.

    Attributes:
        tub: only for a tub kept with this sanitizer, or "". becomes: what it is kept with afterwards, or "".
        asks: numbers that are asked for, by name. steps: in order, before what the planner adds.
        notes: kinds of a reason that are told. drop: roles of products that are not used.
        aims: where quantities are to be, in their units. signs, clarity: what is taken as noted.
        celsius: what the water is cooled to, degC, or 0. watched: somebody has to test every day. ends: the tub is not
            filled again by this keeper.
    """

    key: str
    way: Way
    steps: tuple[Deed, ...]
    basis: Basis
    tub: str = ""
    becomes: str = ""
    rinse: Rinse | None = None
    notes: tuple[str, ...] = ()
    signs: tuple[str, ...] = ()
    clarity: str = ""
    celsius: float = 0.0
    watched: bool = False
    ends: bool = False
    drop: frozenset[str] = frozenset()
    asks: Mapping[str, Ask] = field(default_factory=lambda: MappingProxyType({}))
    aims: Mapping[Quantity, tuple[float, float]] = field(default_factory=lambda: MappingProxyType({}))


@cache
def purposes() -> Mapping[str, Purpose]:
    """Purposes by key."""
    rows = table("purposes")
    return MappingProxyType({key: _purpose(key, {**rows.get(row.get("like"), {}), **row}) for key, row in rows.items()})


def _purpose(key: str, row: Mapping[str, Any]) -> Purpose:
    return Purpose(
        key,
        Way(row["way"]),
        tuple(deed_of(step) for step in row.get("steps", ())),
        basis_of(row),
        tub=row.get("tub", ""),
        becomes=row.get("becomes", ""),
        rinse=Rinse(**row["rinse"]) if "rinse" in row else None,
        notes=tuple(row.get("notes", ())),
        signs=tuple(row.get("signs", ())),
        clarity=row.get("clarity", ""),
        celsius=row.get("celsius", 0.0),
        watched=row.get("watched", False),
        ends=row.get("ends", False),
        drop=frozenset(row.get("drop", ())),
        asks=MappingProxyType({name: _ask(one) for name, one in row.get("asks", {}).items()}),
        aims=MappingProxyType({Quantity(name): (low, high) for name, (low, high) in row.get("aims", {}).items()}),
    )


def _ask(row: Mapping[str, float]) -> Ask:
    return Ask(row.get("usual"), row["low"], row["high"])
