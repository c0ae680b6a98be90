"""A keeper's file: the tub, the shelf, what was seen and done, and the visit, in TOML.

``tub.toml`` in the examples is the description: every entry stands there with a comment.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from importlib import resources
from pathlib import Path
from types import MappingProxyType
from typing import Any

from tubwater.advice import Occasion
from tubwater.errors import InputError, Problem, UnknownKey
from tubwater.facts import find_substance, guidelines, substances
from tubwater.services.contact import Contact, contact_of
from tubwater.services.entries import Entries
from tubwater.services.happenings import events_of, products_by_name
from tubwater.services.packages import old_reagents, package_of, reagents_of
from tubwater.services.papers import papers_of, tap_value, with_results
from tubwater.tub import (
    Equipment,
    Event,
    FillWater,
    Measure,
    MeasureKind,
    Paper,
    Product,
    Quantity,
    Reagents,
    Sanitizer,
    Setting,
    Shelf,
    Tub,
    TubKind,
    VolumeBasis,
    equipment_of,
)
from tubwater.units import Dimension

__all__ = ["TubFile", "UnitSystem", "VisitWishes", "example_text", "parse_table", "parse_tub_file", "read_tub_file"]

_LEAST_LITRES, _MOST_LITRES = 100.0, 30_000.0  # a tub that one person sits in, and more than any (judgement)
_USUAL_LITRES = (300.0, 10_000.0)
_SCOOP_SPREAD, _WEIGHED_SPREAD = 0.2, 0.07  # level scoop, until it was weighed once (judgement)
_MEASURES = {"scoop": 0.5, "cap": 0.5, "spoon": 0.5, "tablet": 1.0}
_FILL = (
    Quantity.PH,
    Quantity.TOTAL_ALKALINITY,
    Quantity.CALCIUM_HARDNESS,
    Quantity.TOTAL_HARDNESS,
    Quantity.SULFATE,
    Quantity.CHLORIDE,
    Quantity.MAGNESIUM,
    Quantity.SODIUM,
    Quantity.TEMPERATURE,
)


class UnitSystem(StrEnum):
    """How amounts are printed."""

    METRIC = "metric"
    US = "us"


@dataclass(frozen=True)
class VisitWishes:
    """What the keeper says of the visit.

    Attributes:
        minutes: how long the keeper stays, min, or None. days_until_next: days. later_by: who is there afterwards.
        guests_at: when people want to get in. now: the time of the visit, where the file states it.
    """

    minutes: float | None = None
    days_until_next: float = 7.0
    later_by: str = ""
    guests_at: datetime | None = None
    now: datetime | None = None
    outdoors: bool = True
    occasion: Occasion = Occasion.USUAL


@dataclass(frozen=True)
class TubFile:
    """All that a file says.

    Attributes:
        questions: unlikely entries that were kept: (field, given, usual) each.
        reagents: strips and reagents in hand. offers: products that could be bought, with their prices.
        papers: what the record holds beside the events. entered: the events without what laboratory results add.
        contact: whom the printed sheets say to ask.
    """

    tub: Tub
    shelf: Shelf
    events: tuple[Event, ...]
    visit: VisitWishes
    units: UnitSystem
    questions: tuple[Problem, ...] = ()
    reagents: tuple[Reagents, ...] = ()
    offers: Shelf = field(default_factory=Shelf)
    papers: tuple[Paper, ...] = ()
    entered: tuple[Event, ...] = ()
    contact: Contact = field(default_factory=Contact)


def example_text() -> str:
    """The annotated example of an invented household."""
    return resources.files("tubwater.services").joinpath("data/tub.toml").read_text(encoding="utf-8")


def read_tub_file(path: str | Path, now: datetime | None = None, tests: Sequence[dict[str, Any]] = ()) -> TubFile:
    """Reads a file; see ``parse_tub_file``.

    Raises:
        InputError: it cannot be read, or anything in it cannot be meant.
    """
    try:
        text = Path(path).read_text(encoding="utf-8")
    except OSError as error:
        reason = error.strerror or "an error"
        raise InputError([Problem("file", f'"{path}" ({reason})', "a file that can be read")]) from None
    except UnicodeDecodeError:
        raise InputError.one("file", str(path), "a text in UTF-8") from None
    return parse_tub_file(text, now, tests)


def parse_tub_file(text: str, now: datetime | None = None, tests: Sequence[dict[str, Any]] = ()) -> TubFile:
    """The values of a file.

    Args:
        now: the time that entries without a time get; ``visit.now`` of the file goes before it.
        tests: further tables as under [[test]], from elsewhere.

    Raises:
        InputError: with every problem of the file.
    """
    table = _toml(text)
    if tests:
        given = table.get("test", [])
        table = {**table, "test": [*(given if isinstance(given, list) else []), *tests]}
    return parse_table(table, now)


def parse_table(table: Mapping[str, Any], now: datetime | None = None) -> TubFile:
    """The values of a file's tables, from wherever they come; times may be texts in ISO 8601.

    Raises:
        InputError: with every problem of the tables.
    """
    problems: list[Problem] = []
    root = Entries(table, "", problems, _stated_now(table) or now)
    found = _whole(root)
    if problems:
        raise InputError(problems)
    return found


def _stated_now(table: Mapping[str, Any]) -> datetime | None:
    """``visit.now``, where the file states it in full; what is wrong with it is told when the visit is read."""
    visit = table.get("visit")
    stated = visit.get("now") if isinstance(visit, dict) else None
    return stated if isinstance(stated, datetime) and stated.tzinfo else None


def _toml(text: str) -> dict[str, Any]:
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError([Problem("file", f"what is not TOML ({error})", "a file like the example")]) from None
    if not table:
        raise InputError([Problem("file", "an empty file", "a table [tub] and what was tested, like the example")])
    return table


def _whole(root: Entries) -> TubFile:
    questions: list[Problem] = []
    units = root.word("units", UnitSystem, UnitSystem.METRIC)
    root.need("tub", "a table [tub] with its volume and sanitizer")
    tub = _tub(root.table("tub"), questions)
    shelf = _shelf(root, "product", questions)
    offers, reagents = _shelf(root, "offer", questions), _reagents(root)
    visit, contact = _visit(root.table("visit")), contact_of(root.table("contact"))
    papers, entered = papers_of(root), events_of(root, products_by_name(shelf))
    events = with_results(entered, papers, tub.guideline)
    root.done()
    questions += old_reagents(reagents, events)
    return TubFile(tub, shelf, events, visit, units, tuple(questions), reagents, offers, papers, entered, contact)


def _shelf(root: Entries, key: str, questions: list[Problem]) -> Shelf:
    found = Shelf(tuple(p for entries in root.tables(key) if (p := _product(entries, questions))))
    _same_names(root, key, found)
    return found


def _reagents(root: Entries) -> tuple[Reagents, ...]:
    return tuple(found for entries in root.tables("reagents") if (found := reagents_of(entries)))


def _tub(entries: Entries, questions: list[Problem]) -> Tub:
    kind = entries.word("kind", TubKind, TubKind.ACRYLIC)
    use = entries.table("use")
    entries.need("sanitizer", "bromine or chlorine")
    tub = Tub(
        name=entries.text("name", "the tub"),
        litres=_litres(entries, questions),
        sanitizer=entries.word("sanitizer", Sanitizer, Sanitizer.BROMINE),
        volume_basis=entries.word("volume_from", VolumeBasis, VolumeBasis.PLATE),
        kind=kind,
        equipment=_equipment(entries.table("equipment"), equipment_of(kind)),
        setting=entries.word("setting", Setting, Setting.HOME),
        temperature=_or(entries.amount("temperature", Dimension.TEMPERATURE, "°C", "38 °C", 5.0, 45.0), 38.0),
        guideline=_guideline(entries),
        fill=_fill(entries.table("fill_water")),
        soaks_per_week=use.number("soaks_per_week", 0.0, 200.0, "soaks a week"),
        people_per_soak=use.number("people", 0.0, 30.0, "people in a usual soak"),
        minutes_per_soak=use.amount("minutes", Dimension.TIME, "min", "30 min", 0.0, 300.0),
    )
    use.done()
    entries.done()
    return tub


def _or(value: float | None, default: float) -> float:
    return default if value is None else value


def _litres(entries: Entries, questions: list[Problem]) -> float:
    entries.need("volume", 'the water in the tub with its unit, such as "1300 L"')
    litres = entries.amount("volume", Dimension.VOLUME, "L", "1300 L", _LEAST_LITRES, _MOST_LITRES)
    if litres is None:
        return 1000.0
    low, high = _USUAL_LITRES
    if not low <= litres <= high:
        questions.append(Problem("tub.volume", f"{litres:g} L", f"{low:g} to {high:g} L for a tub; is it right?"))
    return litres


def _guideline(entries: Entries) -> str:
    key = entries.text("guideline", "household")
    if key not in guidelines():
        near = UnknownKey("guideline", key, guidelines()).nearest
        hint = f"; did you mean {' or '.join(near)}" if near else ""
        entries.wrong("guideline", key, f"one of {', '.join(guidelines())}{hint}")
        return "household"
    return key


def _equipment(entries: Entries, usual: Equipment) -> Equipment:
    names = ("pump", "water_jets", "air_jets", "cover", "ozone_or_uv")
    has = {name: entries.yes(name, getattr(usual, name)) for name in names}
    heater = entries.amount("heater", Dimension.POWER, "kW", "2 kW", 0.1, 100.0)
    entries.done()
    return Equipment(**has, heater_kw=usual.heater_kw if heater is None else heater)


def _fill(entries: Entries) -> FillWater:
    source = entries.text("source", "unknown" if not entries.names() else "measured")
    values: dict[Quantity, float] = {}
    for quantity in _FILL:
        value = _fill_value(entries, quantity)
        if value is not None:
            values[quantity] = value
    entries.done()
    return FillWater(MappingProxyType(values), source)


def _fill_value(entries: Entries, quantity: Quantity) -> float | None:
    key = quantity.value.replace(" ", "_")
    if quantity is Quantity.PH:
        return entries.number(key, 5.0, 10.0, "a pH")
    if quantity is Quantity.TEMPERATURE:
        return entries.amount(key, Dimension.TEMPERATURE, "°C", "10 °C", 1.0, 45.0)
    return tap_value(entries, quantity)


def _product(entries: Entries, questions: list[Problem]) -> Product | None:
    entries.need("substance", 'the active ingredient on the label, such as "sodium bicarbonate"')
    text = entries.text("substance")
    strength = _strength(entries)
    measures = _measures(entries)
    substance = _substance(entries, "substance", text)
    found = Product(
        name=entries.text("name", text),
        substance=substance,
        strength=strength,
        measures=measures,
        stock_grams=entries.grams("stock", substances().get(substance), "1 kg"),
        tablet_grams=next((m.grams for m in measures if m.kind is MeasureKind.TABLET), None),
        declared_parts=MappingProxyType(_parts(entries.table("parts"))),
        package=package_of(entries, substance),
    )
    entries.done()
    _ask_strength(entries, found, questions)
    return found if found.substance else None


def _substance(entries: Entries, key: str, text: str) -> str:
    if not text:
        return ""
    try:
        return find_substance(text).key
    except UnknownKey as error:
        near = f"; did you mean {' or '.join(error.nearest)}" if error.nearest else ""
        entries.wrong(key, text, f"an active ingredient as `tubwater substances` lists them{near}")
        return ""


def _strength(entries: Entries) -> float | None:
    raw = entries.raw("strength")
    if isinstance(raw, str) and "%" not in raw:
        entries.wrong(
            "strength",
            raw,
            'the share of active ingredient on the label, such as "99 %"; without it, leave the line out',
        )
        return None
    per_cent = entries.amount("strength", Dimension.FRACTION, "%", "99 %", 0.1, 105.0)
    return None if per_cent is None else per_cent / 100.0


def _ask_strength(entries: Entries, product: Product, questions: list[Problem]) -> None:
    if not product.substance or product.declared_parts:
        return
    low, usual, high = substances()[product.substance].strength
    field = entries.where("strength")
    if product.strength is None and "strength" not in entries:
        questions.append(
            Problem(field, "nothing", f"the strength on the label; usual is {usual:.0%}; until then it is not used")
        )
    elif product.strength is not None and not low - 0.02 <= product.strength <= high + 0.02:
        questions.append(Problem(field, f"{product.strength:.1%}", f"{low:.0%} to {high:.0%} as sold; is it right?"))


def _measures(entries: Entries) -> tuple[Measure, ...]:
    spread = _WEIGHED_SPREAD if entries.yes("weighed", False) else _SCOOP_SPREAD
    found = []
    for name, step in _MEASURES.items():
        grams = entries.amount(name, Dimension.MASS, "g", "30 g", 0.1, 2000.0)
        if grams is not None:
            found.append(Measure(MeasureKind(name), grams, 0.02 if name == "tablet" else spread, step))
    if entries.yes("scales", False):
        found.append(Measure(MeasureKind.SCALE, 1.0, 0.02, 1.0))
    return tuple(found)


def _parts(entries: Entries) -> dict[str, float]:
    found = {}
    for name in entries.names():
        share = entries.amount(name, Dimension.FRACTION, "%", "60 %", 0.0, 100.0)
        key = _substance(entries, name, name)
        if share is not None and key:
            found[key] = share / 100.0
    return found


def _same_names(root: Entries, key: str, shelf: Shelf) -> None:
    names = [product.name for product in shelf.products]
    for name in sorted({n for n in names if names.count(n) > 1}):
        root.wrong(key, name, "another name for each product")


def _visit(entries: Entries) -> VisitWishes:
    days = entries.amount("next_visit_in", Dimension.TIME, "d", "7 days", 0.25, 60.0)
    wishes = VisitWishes(
        minutes=entries.amount("time", Dimension.TIME, "min", "45 min", 1.0, 1440.0),
        days_until_next=_or(days, 7.0),
        later_by=entries.text("later_by"),
        guests_at=entries.moment("guests_at"),
        now=entries.moment("now"),
        outdoors=entries.yes("outdoors", True),
        occasion=entries.word("occasion", Occasion, Occasion.USUAL),
    )
    entries.done()
    return wishes
