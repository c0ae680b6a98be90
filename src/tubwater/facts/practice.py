"""What spoils a test, and the care that a tub needs: typed, cited, loaded once from TOML."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType
from typing import Any

from tubwater.facts.basis import Basis
from tubwater.facts.read import basis_of, table

__all__ = ["CareStep", "Interference", "care_steps", "interferences", "must_be_done"]


@dataclass(frozen=True)
class Interference:
    """What spoils a test.

    Attributes:
        effect, rule: what it does to the reading, and what to do about it (texts of the data).
        onset, width: total bromine, mg/L as Br2, at which half of the readings are spoiled, and the scale of the
            rise; 0 where no level counts. A dye for pH takes chlorine as chlorine.
        most: the largest share of readings that it spoils; the rest are read in spite of it, or seen to be spoiled.
    """

    key: str
    name: str
    effect: str
    rule: str
    onset: float
    width: float
    most: float
    basis: Basis


@dataclass(frozen=True)
class CareStep:
    """A task of care.

    Attributes:
        condition: what the tub must have: always, pump, electric, cover or feeder.
        pump_off: the pump has to stand still for it, so it does not fit into a wait for mixing.
        must: not left out when time is short, since somebody could be hurt.
    """

    key: str
    interval_days: float
    minutes: float
    condition: str
    basis: Basis
    pump_off: bool = False
    must: bool = False


@cache
def interferences() -> Mapping[str, Interference]:
    """Interferences by key."""
    return MappingProxyType({key: _interference(key, row) for key, row in table("interferences").items()})


def _interference(key: str, row: Mapping[str, Any]) -> Interference:
    rise = (row["onset"], row["width"], row.get("most", 1.0))
    return Interference(key, row["name"], row["effect"], row["rule"], *rise, basis_of(row))


@cache
def care_steps() -> Mapping[str, CareStep]:
    """Tasks of care by key."""
    return MappingProxyType({key: _care_step(key, row) for key, row in table("care").items()})


def must_be_done(task: str) -> bool:
    """Whether this is a task of care that is not left out when time is short."""
    found = care_steps().get(task)
    return found is not None and found.must


def _care_step(key: str, row: Mapping[str, Any]) -> CareStep:
    return CareStep(
        key,
        row["interval_days"],
        row["minutes"],
        row["condition"],
        basis_of(row),
        row.get("pump_off", False),
        row.get("must", False),
    )
