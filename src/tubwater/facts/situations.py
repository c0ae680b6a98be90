"""What is done where something is wrong before any dose: procedures, typed and cited, loaded once from TOML."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from types import MappingProxyType
from typing import Any

from tubwater.facts.basis import Basis, BasisKind
from tubwater.facts.read import basis_of, table

__all__ = ["Deed", "Procedure", "Then", "deed_of", "procedures"]


class Then(StrEnum):
    """What follows the steps of a procedure."""

    STOP = "stop"  # nothing more until it is settled
    FRESH = "fresh"  # the water goes, and fresh water is started
    TREAT = "treat"  # filter, shock, hold and test


@dataclass(frozen=True)
class Deed:
    """One step of a procedure.

    Attributes:
        do: a kind of step. why: a kind of reason, or "". task: what is looked at or done. minutes: min, 0 where they
            follow from the tub. pump, bromine: only where the tub has one, or is kept with it. all_water: moves all.
        covered: for a wait, with the cover on. celsius: what to heat to, degC, or 0.
        free_chlorine: mg/L that a dose brings into fresh water without bromide, or 0. acid_to: the pH before it.
    """

    do: str
    why: str
    task: str
    minutes: float
    cautions: tuple[str, ...]
    basis: Basis
    pump: bool = False
    bromine: bool = False
    all_water: bool = False
    covered: bool = False
    celsius: float = 0.0
    free_chlorine: float = 0.0
    acid_to: float = 0.0


@dataclass(frozen=True)
class Procedure:
    """What is done in one situation.

    Attributes:
        reasons: kinds of a verdict's reason that call for it. hold_hours: from the shock to its test at least, h.
        again_hours: to the next look at what is stopped, h. opens: what has to be so besides a good test.
        notes: what else is told; both are kinds of a reason. sign: of the table of troubles, or "".
    """

    key: str
    reasons: frozenset[str]
    then: Then
    steps: tuple[Deed, ...]
    basis: Basis
    hold_hours: float = 0.0
    again_hours: float = 0.0
    opens: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    sign: str = ""


@cache
def procedures() -> Mapping[str, Procedure]:
    """Procedures by key, the gravest first."""
    return MappingProxyType({key: _procedure(key, row) for key, row in table("situations").items()})


def _procedure(key: str, row: Mapping[str, Any]) -> Procedure:
    return Procedure(
        key,
        frozenset(row["reasons"]),
        Then(row["then"]),
        tuple(deed_of(step) for step in row["steps"]),
        basis_of(row),
        row.get("hold_hours", 0.0),
        row.get("again_hours", 0.0),
        tuple(row.get("opens", ())),
        tuple(row.get("notes", ())),
        row.get("sign", ""),
    )


def deed_of(row: Mapping[str, Any]) -> Deed:
    """A step as a row of data states it."""
    usual = {"basis": BasisKind.COMMON_PRACTICE.value, "sources": ()}
    return Deed(
        do=row["do"],
        why=row.get("why", ""),
        task=row.get("task", ""),
        minutes=row.get("minutes", 0.0),
        cautions=tuple(row.get("cautions", ())),
        basis=basis_of({**usual, **row}),
        pump=row.get("only") == "pump",
        bromine=row.get("only") == "bromine",
        all_water=row.get("litres") == "all",
        covered=row.get("covered", False),
        celsius=row.get("celsius", 0.0),
        free_chlorine=row.get("free_chlorine", 0.0),
        acid_to=row.get("acid_to", 0.0),
    )
