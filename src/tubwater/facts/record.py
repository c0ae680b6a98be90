"""What a guideline asks of the record of a tub: typed, cited, loaded once from TOML."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cache
from types import MappingProxyType
from typing import Any

from tubwater.facts.basis import Basis
from tubwater.facts.read import basis_of, table

__all__ = ["CheckRule", "Cited", "Germ", "GermLimit", "RecordRules", "SampleRule", "record_rules"]


class Germ(StrEnum):
    """What a laboratory counts. The comment gives what it is counted in."""

    LEGIONELLA = "legionella"  # per L
    PSEUDOMONAS = "pseudomonas aeruginosa"  # per 100 mL
    COLIFORMS = "coliforms"  # per 100 mL
    E_COLI = "e. coli"  # per 100 mL
    COLONIES = "colony count"  # per mL
    STAPHYLOCOCCUS = "staphylococcus aureus"  # per 100 mL


@dataclass(frozen=True)
class CheckRule:
    """How often something is tested or looked at.

    Attributes:
        reads: names of quantities that one test has to read; "sanitizer" is that of the tub.
        looks, bathers: a look at the water, or a count of bathers, in the place of a test.
        hours: most between two while the tub is open, h. times: least a day. days: most between two; 0 does not count.
        opening: one before the tub opens. closing: minutes before it closes from which one counts as the last, or 0.
        settings, sanitizer: only there; empty is everywhere.
    """

    key: str
    basis: Basis
    reads: tuple[str, ...] = ()
    looks: bool = False
    bathers: bool = False
    hours: float = 0.0
    times: int = 0
    days: int = 0
    opening: bool = False
    closing: float = 0.0
    settings: tuple[str, ...] = ()
    sanitizer: str = ""

    def applies(self, setting: str, sanitizer: str) -> bool:
        """Whether it counts for a tub."""
        return (not self.settings or setting in self.settings) and self.sanitizer in ("", sanitizer)


@dataclass(frozen=True)
class SampleRule:
    """Which germs a laboratory looks for, at least every ``days``."""

    key: str
    germs: tuple[Germ, ...]
    days: int
    basis: Basis


@dataclass(frozen=True)
class GermLimit:
    """Most that may be found, in what the germ is counted in."""

    most: float
    basis: Basis


@dataclass(frozen=True)
class Cited:
    """Words or numbers of a rule with their basis; ``years`` is 0 where none belong to it."""

    basis: Basis
    words: tuple[str, ...] = ()
    years: float = 0.0


@dataclass(frozen=True, eq=False)
class RecordRules:
    """What one guideline asks.

    Attributes:
        asks: whether it asks for a record at all. fields: what has to be written down.
        refused: methods that prove nothing where they are refused. person: who may make the checks.
        keep: how long the record is kept. The last four are None where nothing is known.
    """

    asks: bool
    basis: Basis
    tests: tuple[CheckRule, ...] = ()
    samples: tuple[SampleRule, ...] = ()
    germs: Mapping[Germ, GermLimit] = field(default_factory=lambda: MappingProxyType({}))
    fields: Cited | None = None
    refused: Cited | None = None
    person: Cited | None = None
    keep: Cited | None = None


@cache
def record_rules() -> Mapping[str, RecordRules]:
    """The rules by the key of their guideline."""
    return MappingProxyType({key: _rules(row) for key, row in table("record").items()})


def _rules(row: Mapping[str, Any]) -> RecordRules:
    return RecordRules(
        asks=row["asks"],
        basis=basis_of(row),
        tests=tuple(_test(key, rule) for key, rule in row.get("tests", {}).items()),
        samples=tuple(_sample(key, rule) for key, rule in row.get("samples", {}).items()),
        germs=MappingProxyType({Germ(k): GermLimit(v["most"], basis_of(v)) for k, v in row.get("germs", {}).items()}),
        fields=_cited(row, "written", "fields"),
        refused=_cited(row, "methods", "refused"),
        person=_cited(row, "person", ""),
        keep=_cited(row, "keep", ""),
    )


def _test(key: str, row: Mapping[str, Any]) -> CheckRule:
    own: dict[str, Any] = {name: value for name, value in row.items() if name not in ("basis", "sources", "note")}
    lists: dict[str, Any] = {name: tuple(own.pop(name)) for name in ("reads", "settings") if name in own}
    return CheckRule(key, basis_of(row), **lists, **own)


def _sample(key: str, row: Mapping[str, Any]) -> SampleRule:
    return SampleRule(key, tuple(map(Germ, row["germs"])), row["days"], basis_of(row))


def _cited(row: Mapping[str, Any], name: str, words: str) -> Cited | None:
    if name not in row:
        return None
    found = row[name]
    return Cited(basis_of(found), tuple(found.get(words, ())), found.get("years", 0.0))
