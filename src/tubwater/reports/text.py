"""Kinds become sentences: the catalogue of texts and the one formatter that fills it."""

from __future__ import annotations

import math
import re
import string
from collections.abc import Callable, Mapping
from datetime import date, datetime
from functools import cache, lru_cache
from typing import Any

from tubwater.errors import UnknownKey
from tubwater.facts import UNIT_OF, BasisKind, references, substances
from tubwater.reports import units as show
from tubwater.reports.language import Language, language, section, texts
from tubwater.services.tubfile import UnitSystem
from tubwater.tub import Quantity, Reason

__all__ = [
    "explain",
    "explained",
    "field_words",
    "kinds",
    "marked",
    "measured",
    "method_or",
    "named",
    "quantity_unit",
    "sentence",
    "text_of",
    "tub_named",
    "unnamed",
    "upper_first",
]

_GAP = re.compile(r"[{}]|\[\[")  # most texts of a page have none
_TWO_STOPS = re.compile(r"(?<!\.)\.\.(?!\.)")  # an abbreviation that ends a sentence has the full stop already
_OPTIONAL = re.compile(r"\[\[(.*?)\]\]")
_NAMED = frozenset({"product", "Product"})
_CASES = frozenset({"nominative", "accusative", "dative"})  # of the name that a tub has where its keeper gave none
_NO_MEASURES = frozenset({None, "", "scale", "jug"})  # weight or volume says it already
_THEIRS = frozenset({BasisKind.PUBLISHED, BasisKind.REPORTED})  # the sources say the number itself
_UNITLESS = frozenset({Quantity.PH})


def kinds(section: str) -> tuple[str, ...]:
    """The kinds that a section of the catalogue has texts for."""
    return tuple(texts(language())[section])


def text_of(
    section: str, kind: str, values: Mapping[str, Any] | None = None, units: UnitSystem = UnitSystem.METRIC
) -> str:
    """The text of a kind, filled with values.

    Raises:
        UnknownKey: the catalogue has no such kind, or the text asks for a value that is missing.
    """
    known = texts(language())[section]
    if kind not in known:
        raise UnknownKey(f"text of a {section}", kind, known)
    text = known[kind]
    return _Filler(units).fill(text, dict(values or {})) if _has_gaps(text) else text


@lru_cache(8192)
def _has_gaps(text: str) -> bool:
    return _GAP.search(text) is not None


def upper_first(text: str) -> str:
    """A name at the start of a line; pH stays as it is."""
    return text if text.startswith("pH") else text[:1].upper() + text[1:]


def named(product: str) -> str:
    """A product by its substance's name or a usual name in the chosen language; a name of the keeper's own as it is."""
    pot = _pots().get(product)
    if pot is not None:
        return text_of("web", pot)
    key = _substance_keys().get(product)
    if key is not None:
        return text_of("substance", key)
    usual = product.lower()
    found = texts(language())["product"].get(usual, product)
    return product if found == usual else upper_first(found) if product[:1].isupper() else found


@cache
def _substance_keys() -> Mapping[str, str]:
    return {substance.name: key for key, substance in substances().items()}


@cache
def _pots() -> Mapping[str, str]:
    """What the first page calls the pots that it knows, in any language; they are kept by the name in one of them."""
    known = (section(spoken, "web").items() for spoken in reversed(Language))
    return {text: kind for rows in known for kind, text in rows if kind.startswith("pot.") and kind.count(".") == 1}


def tub_named(name: str, case: str = "nominative") -> str:
    """The name of a tub; where its keeper gave none, what it is called in the chosen language."""
    return text_of("tub-name", case) if unnamed(name) else name


def unnamed(name: str) -> bool:
    """Whether a tub has the name that it gets where its keeper gave none."""
    return name.lower() in _no_names()


@cache
def _no_names() -> frozenset[str]:
    return frozenset(section(spoken, "tub-name")["nominative"].lower() for spoken in Language)


def field_words(field: str) -> str:
    """What a keeper calls a field: "test[1].total_alkalinity" is total alkalinity."""
    name = field.rpartition(".")[2].partition("[")[0]
    if name.replace("_", " ") in kinds("quantity"):
        return text_of("quantity", name.replace("_", " "))
    return text_of("field", name) if name in kinds("field") else name.replace("_", " ")


def method_or(name: str) -> str:
    """A test method in words; the name of anything else (a product) as ``named`` gives it."""
    return text_of("method", name) if name in kinds("method") else named(name)


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
    return ": ".join(part for part in explained(reason) if part)


def explained(reason: Reason) -> tuple[str, str]:
    """The same in two parts: how sure, in the chosen language; sources and notes, in the English of the facts.

    What the sources do not say themselves is said to be ours before they are named.
    """
    if reason.basis is None:
        return "", ""
    sources = [references()[key] for key in reason.basis.sources]
    named = "; ".join(f"{source.title} ({source.publisher})" for source in sources)
    kind, ours = text_of("basis", reason.basis.kind.value), reason.basis.kind not in _THEIRS
    if named and ours:
        kind = text_of("basis", "read-for-it", {"kind": kind})
    return kind, (". Note: " if named and ours else ": ").join(part for part in (named, reason.basis.note) if part)


def quantity_unit(quantity: Quantity | str, units: UnitSystem = UnitSystem.METRIC) -> str:
    """The unit that a quantity is printed in; empty for pH."""
    known = Quantity(quantity)
    if known is Quantity.TEMPERATURE:
        return "°F" if units is UnitSystem.US else "°C"
    return "" if known in _UNITLESS else UNIT_OF[known]


@lru_cache(4096)
def _parts(text: str) -> tuple[tuple[str, str, str], ...]:
    """What a text says, each time with the name and the format word of the gap behind it, "" for none."""
    return tuple((said, name or "", word or "") for said, name, word, _ in string.Formatter().parse(text))


def _names(text: str) -> list[str]:
    return [name for _, name, _ in _parts(text) if name]


_WAYS: Mapping[str, Callable[[float, UnitSystem], str]] = {  # a format word is a way to print a number
    "number": lambda value, _: show.number(value),
    "rough": lambda value, _: show.rough(value),
    "rough-down": lambda value, _: show.rough_down(value),
    "percent": lambda value, _: show.percent(value),
    "percent-down": lambda value, _: show.percent(math.floor(100.0 * value + 1e-9) / 100.0),
    "minutes": lambda value, _: show.minutes(value),
    "wait": lambda value, _: show.lasting(value),
    "hours": lambda value, _: show.hours(value),
    "hours-later": lambda value, _: show.hours(value, "days-later"),
    "days": lambda value, _: show.days(value),
    "days-later": lambda value, _: show.days(value, "days-later"),
    "litres": show.litres,
    "about-litres": show.about_litres,
    "grams": show.grams,
    "about-grams": show.about_grams,
    "millilitres": show.millilitres,
    "temperature": show.temperature,
}

_MOMENTS: Mapping[str, Callable[[datetime], str]] = {  # and a way to print a time
    "moment": show.moment,
    "moment-from": show.moment_from,
    "return": show.returning,
}


def measured(measure: str, count: float) -> str:
    """So many of a product's own measure: "2 level scoops"."""
    return text_of("measures", measure if count <= 1.0 else f"{measure}-many", {"count": show.fraction(count)})


class _Filler:
    """Fills one text."""

    def __init__(self, units: UnitSystem) -> None:
        self._units = units
        self._quantity = ""

    def fill(self, text: str, values: dict[str, Any]) -> str:
        """The text with its values; optional parts whose values are missing are left out."""
        if "quantity" in values:
            self._quantity = str(values["quantity"])
            name = text_of("quantity", self._quantity)
            values = {**values, "quantity": name, "Quantity": upper_first(name)}
        values = {key: named(str(value)) if key in _NAMED else value for key, value in values.items()}
        if values.get("count") and values.get("measure") not in _NO_MEASURES:
            values = {**values, "measured": measured(str(values["measure"]), float(values["count"]))}
        kept = text
        if "[[" in text:
            kept = _OPTIONAL.sub(lambda match: match[1] if self._has_all(match[1], values) else "", text)
        missing = [name for name in _names(kept) if name not in values]
        if missing:
            raise UnknownKey("value of this text", missing[0], [str(key) for key in values])
        filled = (said + (self._shown(values[name], word) if name else "") for said, name, word in _parts(kept))
        whole = "".join(filled)
        return _TWO_STOPS.sub(".", whole) if ".." in whole else whole

    def _shown(self, value: Any, word: str) -> str:
        if word in _MOMENTS:
            return _MOMENTS[word](datetime.fromisoformat(str(value)))
        if word == "day":
            return show.day(date.fromisoformat(str(value)))
        if word in _CASES:
            return tub_named(str(value), word)
        if word == "lower":
            return str(value)[:1].lower() + str(value)[1:]
        if word in ("cause", "check"):
            return text_of(word, str(value))
        if word == "of":
            return self._in_its_unit(float(value))
        if word in _WAYS:
            return _WAYS[word](float(value), self._units)
        return show.number(value) if isinstance(value, float) else str(value)

    def _has_all(self, text: str, values: Mapping[str, Any]) -> bool:
        return all(values.get(name) not in (None, "") for name in _names(text))

    def _in_its_unit(self, value: float) -> str:
        if self._quantity == Quantity.TEMPERATURE:
            return show.temperature(value, self._units)
        unit = quantity_unit(self._quantity, self._units) if self._quantity else "mg/L"
        return f"{show.number(value)} {unit}".strip()
