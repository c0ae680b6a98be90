"""What an entry of the record says, as one line."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from tubwater.facts.record import Germ
from tubwater.reports import units as show
from tubwater.reports.text import method_or, quantity_unit, text_of
from tubwater.services.tubfile import UnitSystem
from tubwater.tub import (
    Answer,
    Appointed,
    Cared,
    Clarity,
    Closed,
    Count,
    Dosed,
    Drained,
    Event,
    FeederSet,
    Filled,
    Noticed,
    OpeningHours,
    Paper,
    Quantity,
    Reading,
    Reopened,
    Sampled,
    Signed,
    Soaked,
    SourceWater,
    Tested,
)

__all__ = [
    "count_words",
    "entry_line",
    "found_words",
    "germ_words",
    "reading_cells",
    "reading_words",
    "source_words",
    "water_words",
]


def entry_line(said: Event | Paper, units: UnitSystem = UnitSystem.METRIC) -> str:
    """What happened, without its time."""
    return _LINES[type(said)](said, units)


def germ_words(germ: Germ) -> str:
    """The name of a germ."""
    return text_of("germ", germ.value)


def count_words(count: Count) -> str:
    """What was found: a number, "under", "over" or "none"."""
    if count.high == 0.0:
        return _say("none-found", "record")
    if math.isinf(count.high):
        return _say("above", "record", value=count.low)
    return _say("below", "record", value=count.high) if count.low < count.high else show.number(count.low)


def found_words(sample: Sampled, over: tuple[Germ, ...] = ()) -> Iterator[str]:
    """Each germ with what was found of it; those of ``over`` are too many."""
    for germ, count in sample.counts.items():
        kind = "sample-over" if germ in over else "sample-count"
        unit = text_of("germ-unit", germ.value)
        yield _say(kind, "record", germ=germ_words(germ), count=count_words(count), unit=unit)


def source_words(values: Mapping[Quantity, float], units: UnitSystem) -> Iterator[str]:
    """Each value of source water."""
    for quantity, value in values.items():
        yield text_of("record", "source-value", {"quantity": quantity.value, "value": value}, units)


def _say(kind: str, section: str = "record-entry", units: UnitSystem = UnitSystem.METRIC, **values: Any) -> str:
    return text_of(section, kind, values, units)


def _tested(test: Tested, units: UnitSystem) -> str:
    readings = ", ".join(reading_words(reading, units) for reading in test.readings)
    methods = ", ".join(dict.fromkeys(method_or(reading.method) for reading in test.readings))
    how = [_say(f"jets-{test.jets.value}")] if test.jets is not Answer.UNKNOWN else []
    how += [_people("bathers-in", test.bathers)] if test.bathers is not None else []
    how += [_say("by-guest")] if test.guest else []
    return ", ".join((_say("tested", method=methods, readings=readings), *how))


def _people(kind: str, people: float, **values: Any) -> str:
    return _say(f"{kind}-one" if people == 1 else kind, people=people, **values)


def reading_cells(reading: Reading) -> list[str | float]:
    """Quantity, value, unit, scale and method as they were read; the value is a number where it was read as one."""
    plain = reading.low == reading.high
    return [
        text_of("quantity", reading.quantity.value),
        float(reading.low) if plain else _ends(reading, UnitSystem.METRIC, True),
        "" if reading.quantity is Quantity.PH else reading.unit or quantity_unit(reading.quantity, UnitSystem.METRIC),
        _scale(reading),
        text_of("method-name", reading.method),
    ]


def _scale(reading: Reading) -> str:
    return _say(reading.scale.value) if reading.scale else ""


def reading_words(reading: Reading, units: UnitSystem) -> str:
    """As it was read, in the unit of the kit; a temperature in the reader's."""
    own = reading.quantity is not Quantity.TEMPERATURE or reading.unit != "°C"
    value = _ends(reading, units, own)
    unit = "" if reading.quantity is Quantity.PH or not own else reading.unit or quantity_unit(reading.quantity, units)
    return _say("reading", quantity=reading.quantity.value, value=value, unit=unit, scale=_scale(reading))


def _ends(reading: Reading, units: UnitSystem, own: bool) -> str:
    def shown(value: float) -> str:
        return show.number(value) if own else show.temperature(value, units)

    if math.isinf(reading.low):
        return _say("below", "record", value=reading.high)
    if math.isinf(reading.high):
        return _say("above", "record", value=reading.low)
    if reading.low == reading.high:
        return shown(reading.low)
    return _say("between", low=shown(reading.low), high=shown(reading.high))


def _dosed(dose: Dosed, units: UnitSystem) -> str:
    kind = "dosed" if dose.certain else "dosed-unsure"
    return _say(kind, amount=show.grams(dose.grams, units), product=dose.product)


def _feeder(found: FeederSet, units: UnitSystem) -> str:
    opening = "" if found.opening is None else found.opening
    return _say("feeder", tablets=found.tablets, product=found.product, opening=opening)


def _noticed(look: Noticed, units: UnitSystem) -> str:
    parts = [text_of("web", f"clarity.{look.clarity.value}")] if look.clarity is not Clarity.UNKNOWN else []
    parts += [text_of("web", f"sign.{sign.value}") for sign in sorted(look.signs)]
    parts += [_say("noticed-lapse", hours=look.lapse_hours)] if look.lapse_hours is not None else []
    parts += [_say("noticed-unlogged")] if look.unlogged_soak.value == "yes" else []
    return _say("noticed", list=", ".join(parts) or _say("noticed-nothing"))


def _sampled(sample: Sampled, units: UnitSystem) -> str:
    found = ", ".join(found_words(sample)) or _say("sample-waits", "record")
    return _say("sampled", laboratory=sample.laboratory, list=found)


def _source(water: SourceWater, units: UnitSystem) -> str:
    return _say("source_water", list=", ".join(water_words(water, units)))


def water_words(water: SourceWater, units: UnitSystem) -> Iterator[str]:
    """Everything that was measured of source water."""
    yield from source_words(water.values, units)
    if water.solids is not None:
        yield _say("solids-value", "record", value=water.solids)
    for metal, value in water.metals.items():
        yield _say("metal-value", "record", metal=text_of("metal", metal), value=value)


def _hours(hours: OpeningHours, units: UnitSystem) -> str:
    return _say("opening_hours", opens=f"{hours.opens:%H:%M}", closes=f"{hours.closes:%H:%M}")


_LINES: Mapping[type, Callable[[Any, UnitSystem], str]] = {
    Tested: _tested,
    Dosed: _dosed,
    Soaked: lambda soak, units: _people("soaked", soak.people, minutes=soak.minutes),
    Filled: lambda fill, units: _say("filled", units=units, litres="" if fill.litres is None else fill.litres),
    Drained: lambda drain, units: _say("drained", units=units, litres=drain.litres),
    FeederSet: _feeder,
    Noticed: _noticed,
    Cared: lambda care, units: text_of("care", care.task),
    Sampled: _sampled,
    Appointed: lambda one, units: _say("appointed", name=one.name, qualification=one.qualification),
    SourceWater: _source,
    OpeningHours: _hours,
    Closed: lambda one, units: _say(f"closed-{one.why}", reason=one.reason, by=one.by),
    Reopened: lambda one, units: _say("reopened", reason=one.reason),
    Signed: lambda one, units: _say("signed", "record", name=one.name, at=one.at.isoformat(), remark=one.remark),
}
