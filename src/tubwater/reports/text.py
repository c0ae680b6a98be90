"""Kinds become sentences: the catalogue of texts and the one formatter that fills it."""

from __future__ import annotations

import re
import string
import tomllib
from collections.abc import Callable, Mapping
from datetime import date, datetime
from functools import cache
from importlib import resources
from typing import Any

from tubwater.errors import UnknownKey
from tubwater.facts import references
from tubwater.reports import units as show
from tubwater.services.tubfile import UnitSystem
from tubwater.tub import Quantity, Reason

__all__ = ["explain", "kinds", "marked", "method_or", "quantity_unit", "sentence", "text_of"]

_GAP = re.compile(r"[{}]|\[\[")  # most texts of a page have none
_OPTIONAL = re.compile(r"\[\[(.*?)\]\]")
_UNITLESS = frozenset({Quantity.PH})
_UNITS = {Quantity.CONDUCTIVITY: "µS/cm", Quantity.TURBIDITY: "NTU"}


@cache
def _catalogue() -> Mapping[str, Mapping[str, str]]:
    """The texts of ``en.toml`` and of every ``*.en.toml`` beside it, section by section."""
    folder = resources.files("tubwater.reports").joinpath("catalogue")
    found: dict[str, dict[str, str]] = {}
    for file in sorted(folder.iterdir(), key=lambda entry: entry.name):
        if f".{file.name}".endswith(".en.toml"):
            for section, texts in tomllib.loads(file.read_text(encoding="utf-8")).items():
                found.setdefault(section, {}).update(texts)
    return found


def kinds(section: str) -> tuple[str, ...]:
    """The kinds that a section of the catalogue has texts for."""
    return tuple(_catalogue()[section])


def text_of(
    section: str, kind: str, values: Mapping[str, Any] | None = None, units: UnitSystem = UnitSystem.METRIC
) -> str:
    """The text of a kind, filled with values.

    Raises:
        UnknownKey: the catalogue has no such kind, or the text asks for a value that is missing.
    """
    texts = _catalogue()[section]
    if kind not in texts:
        raise UnknownKey(f"text of a {section}", kind, texts)
    text = texts[kind]
    return _Filler(units).fill(text, dict(values or {})) if _GAP.search(text) else text


def method_or(name: str) -> str:
    """A test method in words; the name of anything else (a product) as it is."""
    return text_of("method", name) if name in kinds("method") else name


def sentence(reason: Reason, units: UnitSystem = UnitSystem.METRIC) -> str:
    """A reason as a sentence.

    Raises:
        UnknownKey: no text for its kind, or a value that its text needs is missing.
    """
    return text_of("reason", reason.kind, reason.values, units)


def marked(reason: Reason, units: UnitSystem = UnitSystem.METRIC) -> str:
    """A reason as a sentence, with a mark where its numbers are not verified."""
    said = sentence(reason, units)
    if reason.basis is None or reason.basis.verified:
        return said
    return f"{said} ({text_of('basis', reason.basis.kind.value)})"


def explain(reason: Reason) -> str:
    """How sure a reason's numbers are and where they come from; empty where they are the keeper's own."""
    if reason.basis is None:
        return ""
    sources = [references()[key] for key in reason.basis.sources]
    named = "; ".join(f"{source.title} ({source.publisher})" for source in sources)
    kind = text_of("basis", reason.basis.kind.value)
    return ": ".join(part for part in (kind, named, reason.basis.note) if part)


def quantity_unit(quantity: Quantity | str, units: UnitSystem = UnitSystem.METRIC) -> str:
    """The unit that a quantity is printed in; empty for pH."""
    known = Quantity(quantity)
    if known is Quantity.TEMPERATURE:
        return "°F" if units is UnitSystem.US else "°C"
    return "" if known in _UNITLESS else _UNITS.get(known, "mg/L")


class _Filler(string.Formatter):
    """Fills one text; each format word is a way to print a number."""

    def __init__(self, units: UnitSystem) -> None:
        self._units = units
        self._quantity = ""
        plain: dict[str, Callable[[float], str]] = {
            "number": show.number,
            "percent": show.percent,
            "minutes": show.minutes,
            "hours": show.hours,
            "of": self._in_its_unit,
            "litres": lambda value: show.litres(value, units),
            "grams": lambda value: show.grams(value, units),
            "temperature": lambda value: show.temperature(value, units),
        }
        self._words = plain

    def fill(self, text: str, values: dict[str, Any]) -> str:
        """The text with its values; optional parts whose values are missing are left out."""
        if "quantity" in values:
            self._quantity = str(values["quantity"])
            name = text_of("quantity", self._quantity)
            values = {**values, "quantity": name, "Quantity": name if name == "pH" else name.capitalize()}
        kept = _OPTIONAL.sub(lambda match: match[1] if self._has_all(match[1], values) else "", text)
        missing = [name for name in self._names(kept) if name not in values]
        if missing:
            raise UnknownKey("value of this text", missing[0], [str(key) for key in values])
        return self.vformat(kept, (), values)

    def format_field(self, value: Any, format_spec: str) -> str:
        if format_spec == "moment":
            return show.moment(datetime.fromisoformat(str(value)))
        if format_spec == "day":
            return show.day(date.fromisoformat(str(value)))
        if format_spec in ("cause", "check"):
            return text_of(format_spec, str(value))
        if format_spec in self._words:
            return self._words[format_spec](float(value))
        return show.number(value) if isinstance(value, float) else str(value)

    def _has_all(self, text: str, values: Mapping[str, Any]) -> bool:
        return all(values.get(name) not in (None, "") for name in self._names(text))

    def _names(self, text: str) -> list[str]:
        return [name for _, name, _, _ in self.parse(text) if name]

    def _in_its_unit(self, value: float) -> str:
        if self._quantity == Quantity.TEMPERATURE:
            return show.temperature(value, self._units)
        unit = quantity_unit(self._quantity, self._units) if self._quantity else "mg/L"
        return f"{show.number(value)} {unit}".strip()
