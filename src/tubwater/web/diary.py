"""The entries of a logbook in words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from tubwater.reports import units as numbers
from tubwater.reports.text import kinds, quantity_unit, text_of
from tubwater.services.effective import Line
from tubwater.services.ports import Kind
from tubwater.services.tubfile import UnitSystem
from tubwater.tub import Quantity
from tubwater.web.desk import Desk
from tubwater.web.forms import reading_key
from tubwater.web.show import say

__all__ = ["Shown", "shown_lines"]


@dataclass(frozen=True)
class Shown:
    """One entry of a list: its time in the keeper's zone, its kind in a word, and the rest of it."""

    id: str
    at: datetime
    kind: str
    word: str
    text: str
    corrected: bool
    withdrawn: bool


def shown_lines(desk: Desk, history: Iterable[Line], units: UnitSystem) -> list[Shown]:
    """Entries in words, the newest first."""
    return [_shown(desk, line, units) for line in sorted(history, key=lambda line: line.happened, reverse=True)]


def _shown(desk: Desk, line: Line, units: UnitSystem) -> Shown:
    kind = line.stored.entry.kind
    return Shown(
        line.stored.entry.id,
        desk.local(line.happened),
        str(kind),
        say(f"entry.{kind}"),
        _words(kind, line.body, units),
        bool(line.corrected_by),
        not line.stands,
    )


def _words(kind: Kind, body: Mapping[str, Any], units: UnitSystem) -> str:
    if kind is Kind.TEST:
        return _test(body)
    if kind is Kind.NOTICED:
        return _noticed(body)
    values = {key: value for key, value in body.items() if key != "at" and value not in ("", None)}
    if kind is Kind.CARED:
        values["task"] = text_of("care", str(body["task"])).rstrip(".")
    if "measures" in values:
        values["measures"] = say(
            "entry.measure" if values["measures"] == 1 else "entry.measures", count=values["measures"]
        )
    if kind is Kind.FEEDER and "opening" in values:
        values["opening"] = numbers.percent(float(values["opening"]))
    return say(f"entry.{kind}.words", units, **{key: _plain(value) for key, value in values.items()})


def _test(body: Mapping[str, Any]) -> str:
    method = str(body.get("method", ""))
    named = text_of("method", method) if method in kinds("method") else method
    readings = [f"{text_of('quantity', q.value)} {_reading(body[reading_key(q)], q)}" for q in _read(body)]
    return say("entry.test.words", method=named, readings=", ".join(readings))


def _read(body: Mapping[str, Any]) -> list[Quantity]:
    return [q for q in Quantity if reading_key(q) in body]


def _reading(value: Any, quantity: Quantity) -> str:
    if isinstance(value, list):
        return say("entry.between", low=_plain(value[0]), high=_plain(value[1]))
    text = _plain(value)
    return text if quantity is Quantity.PH or not text[-1:].isdigit() else f"{text} {quantity_unit(quantity)}"


def _noticed(body: Mapping[str, Any]) -> str:
    clarity = str(body.get("clarity", "don't know"))
    parts = [say(f"clarity.{clarity}")] if clarity != "don't know" else []
    parts += [say(f"sign.{sign}") for sign in body.get("signs", [])]
    if body.get("soak_not_noted") in ("yes", True):
        parts.append(say("entry.noticed.unlogged"))
    return say("entry.noticed.words", what=", ".join(parts) or say("entry.noticed.nothing"))


def _plain(value: Any) -> str:
    return numbers.number(value) if isinstance(value, float) else str(value)
