"""The range line: one quantity on its own scale, with what is wanted, allowed, believed and read.

The wanted range fills the middle quarter, so that the lines of a tub share one tinted column.  Above the line stands
what is believed, a hill whose width is the doubt and whose area stays the same; below it what was read.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from tubwater.facts import Limits
from tubwater.reports.scale import (
    FAINT,
    Table,
    axis_rule,
    axis_stretches,
    limit_words,
    rounded,
    shown,
    span_words,
    with_unit,
)
from tubwater.reports.svg import element, percent, points, words
from tubwater.reports.text import quantity_unit, text_of
from tubwater.services.tubfile import UnitSystem
from tubwater.tub import Expectation, Quantity

__all__ = [
    "HEIGHT",
    "RangeLine",
    "Standing",
    "axis_drawing",
    "range_line",
    "range_sentence",
    "range_table",
    "standing_of",
]

HEIGHT = 88  # px; the width is the page's
_BASE = 54.0  # y of the axis, px
_HILL = 46.0  # the highest a hill gets, px
_AREA = 0.12 * _HILL  # of each hill: full height at a spread of 12 % of the width
_FLAT = 16.0  # px; the halo of a lower one would hide the hill that it lies on
_WIDE = 1000.0  # of the nested picture that holds the hills
_TO_5 = 1.6449  # standard deviations to the 5th percentile of a normal
_TO_25 = 0.6745
_GAP = 0.085  # least distance of two numerals, as a share of the width


@dataclass(frozen=True)
class RangeLine:
    """What a range line shows, in the unit of ``quantity``.

    Attributes:
        believed: median, 5th and 95th percentile now, None for nothing known. planned: the same after a plan.
        reading: the last reading (low, high), equal for a plain value, infinite beyond a scale. method: its key.
    """

    quantity: Quantity
    limits: Limits
    believed: Expectation | None = None
    planned: Expectation | None = None
    reading: tuple[float, float] | None = None
    method: str = ""


class Standing(StrEnum):
    """Where a value stands against its limits."""

    GOOD = "good"
    LOW = "low"
    HIGH = "high"
    TOO_LOW = "too-low"
    TOO_HIGH = "too-high"
    FAR_LOW = "far-low"
    FAR_HIGH = "far-high"
    UNKNOWN = "unknown"


def standing_of(value: float | None, limits: Limits) -> Standing:
    """Where a value stands: wanted, tolerated, not for bathing, or to keep people out."""
    if value is None:
        return Standing.UNKNOWN
    if value < limits.aim_low:
        steps = ((limits.keep_out_low, Standing.FAR_LOW), (limits.bathing_low, Standing.TOO_LOW))
        return next((kind for limit, kind in steps if value < limit), Standing.LOW)
    if value > limits.aim_high:
        above = ((limits.keep_out_high, Standing.FAR_HIGH), (limits.bathing_high, Standing.TOO_HIGH))
        return next((kind for limit, kind in above if value > limit), Standing.HIGH)
    return Standing.GOOD


def range_line(line: RangeLine, key: str = "", units: UnitSystem = UnitSystem.METRIC) -> str:
    """The line as SVG. ``key`` makes its ids unique where a page holds several lines of one quantity."""
    name = f"wl-{line.quantity.value.replace(' ', '-')}{'-' if key else ''}{key}"
    axis = _Axis(line.limits)
    parts = [
        element("title", words(_title(line, units)), id=f"{name}-t"),
        element("desc", words(_description(line, units)), id=f"{name}-d"),
        _wanted(axis),
        element("svg", *_hills(line, axis), width="100%", height=_BASE,
                viewBox=f"0 0 {_WIDE:.0f} {_BASE:.0f}", preserveAspectRatio="none"),
        *(_stretch(axis, *found) for found in axis_stretches(line.limits, axis.low, axis.high)),
        *_reading(line, axis),
        *_off(line, axis),
        *_numerals(line, axis, units),
    ]  # fmt: skip
    return element(
        "svg", *parts, xmlns="http://www.w3.org/2000/svg", class_="wl", width="100%", height=HEIGHT, role="img",
        aria_labelledby=f"{name}-t {name}-d", fill="currentColor", overflow="visible",
    )  # fmt: skip


def range_sentence(line: RangeLine, units: UnitSystem = UnitSystem.METRIC) -> str:
    """The line in words, its standing first; of what was never measured none is told."""
    measured = line.believed if line.reading is not None else None
    median = rounded(measured.median, line.quantity) if measured else None
    return f"{text_of('standing', standing_of(median, line.limits).value)} {_description(line, units, 'line-said')}"


def range_table(line: RangeLine, units: UnitSystem = UnitSystem.METRIC) -> Table:
    """The line as a table."""
    rows = []
    for label, found in (("believed", line.believed), ("planned", line.planned)):
        if found is not None:
            rows.append((label, f"{shown(found.median, line.quantity, units)} ({_span(found, line, units)})"))
    if line.reading is not None:
        rows.append(("read", span_words(*line.reading, line.quantity, units)))
    for label, which in (("aim", "aim"), ("bathing", "bathing"), ("keep-out", "out")):
        text = limit_words(line.limits, which, line.quantity, units)
        rows += [(label, text)] if text else []
    head = (text_of("chart", "item"), text_of("chart", "value"))
    return Table(_title(line, units), head, tuple((text_of("chart", label), text) for label, text in rows))


class _Axis:
    """The scale: the wanted range is the middle quarter; it begins at zero where it would go below."""

    def __init__(self, limits: Limits) -> None:
        self._origin, self._span = limits.aim_low, limits.aim_high - limits.aim_low
        self.low = max(limits.aim_low - 1.5 * self._span, 0.0)
        self.high = limits.aim_high + 1.5 * self._span

    def at(self, value: float) -> float:
        """The place of a value, 0 to 1 inside the line."""
        return 0.375 + 0.25 * (value - self._origin) / self._span

    def inside(self, value: float) -> float:
        """The nearest place on the line."""
        return min(max(self.at(value), self.at(self.low)), 1.0)


def _title(line: RangeLine, units: UnitSystem) -> str:
    return text_of("chart", "name", {"quantity": line.quantity.value, "unit": quantity_unit(line.quantity, units)})


def _description(line: RangeLine, units: UnitSystem, kind: str = "line-desc") -> str:
    believed, planned, reading = line.believed, line.planned, line.reading
    values = {
        "median": believed and with_unit(shown(believed.median, line.quantity, units), line.quantity, units),
        "likely": believed and _span(believed, line, units),
        "planned": planned and shown(planned.median, line.quantity, units),
        "read": reading and span_words(*reading, line.quantity, units),
        **{which: limit_words(line.limits, which, line.quantity, units) for which in ("aim", "bathing", "out")},
    }
    return text_of("chart", kind, values)


def _span(found: Expectation, line: RangeLine, units: UnitSystem) -> str:
    return span_words(found.low, found.high, line.quantity, units)


def _wanted(axis: _Axis) -> str:
    return element("rect", class_="w-band", x="37.5%", width="25%", y=2, height=_BASE - 2.0, **FAINT)


def _stretch(axis: _Axis, kind: str, low: float, high: float) -> str:
    y = _BASE + (2.0 if kind == "good" else 0.0)
    return axis_rule(kind, percent(axis.at(low)), percent(axis.at(high)), y, y)


def _hills(line: RangeLine, axis: _Axis) -> Iterator[str]:
    if line.believed is not None:
        yield _hill(line.believed, axis, "w-is-tail", _TO_5 * 1.35, fill_opacity=0.42)
        yield _hill(line.believed, axis, "w-is", _TO_25)
    if line.planned is not None:
        halo = [("w-halo", 7, "Canvas")] if _height(line.planned, axis) > _FLAT else []
        for name, width, stroke in (*halo, ("w-plan", 2.5, "currentColor")):
            yield _hill(line.planned, axis, name, _TO_5 * 1.35, fill="none", stroke=stroke, stroke_width=width,
                        vector_effect="non-scaling-stroke")  # fmt: skip


def _spreads(found: Expectation, axis: _Axis) -> tuple[float, float]:
    """Standard deviations below and above the median, as shares of the width."""
    middle, left, right = axis.at(found.median), axis.at(found.low), axis.at(found.high)
    return max((middle - left) / _TO_5, 0.004), max((right - middle) / _TO_5, 0.004)


def _height(found: Expectation, axis: _Axis) -> float:
    """Of a hill of the one area, px."""
    return min(_HILL, _AREA / (_TO_5 * sum(_spreads(found, axis))))


def _hill(found: Expectation, axis: _Axis, name: str, reach: float, **look: object) -> str:
    """Two halves of a normal, one for each side of the median, cut at the ends of the line."""
    middle, (below, above), height = axis.at(found.median), _spreads(found, axis), _height(found, axis)
    first, last = axis.at(axis.low), 1.0
    places = [middle + (below if z < 0 else above) * z for z in _steps(reach)]
    kept = [x for x in places if first <= x <= last]
    if len(kept) < 2:
        return ""
    curve = [(x * _WIDE, _BASE - height * math.exp(-0.5 * _z(x - middle, below, above) ** 2)) for x in kept]
    return element("path", class_=name, d=points([(curve[0][0], _BASE), *curve, (curve[-1][0], _BASE)]), **look)


def _steps(reach: float) -> list[float]:
    return [reach * (i / 20.0 - 1.0) for i in range(41)]


def _z(distance: float, below: float, above: float) -> float:
    return distance / (below if distance < 0.0 else above)


def _reading(line: RangeLine, axis: _Axis) -> Iterator[str]:
    """A tick below the line; a bar between two ticks for "between two steps"."""
    if line.reading is None:
        return
    low, high = (axis.inside(end) for end in line.reading)
    places = [percent(low)] if low == high else [percent(low), percent(high)]
    for place in places:
        yield element("line", class_="w-test", x1=place, x2=place, y1=_BASE, y2=_BASE + 14.0,
                      stroke="currentColor", stroke_width=3)  # fmt: skip
    if len(places) == 2:
        yield element("line", class_="w-test", x1=places[0], x2=places[1], y1=_BASE + 12.5, y2=_BASE + 12.5,
                      stroke="currentColor", stroke_width=3)  # fmt: skip


def _off(line: RangeLine, axis: _Axis) -> Iterator[str]:
    """An arrow where what is believed lies beyond the line."""
    if line.believed is None or axis.low <= line.believed.median <= axis.high:
        return
    high = line.believed.median > axis.high
    arrow = "M-34 36H-6M-16 26-5 36-16 46" if high else "M34 36H6M16 26 5 36 16 46"
    path = element("path", class_="w-off", d=arrow, fill="none", stroke="currentColor", stroke_width=3)
    yield element("svg", path, x=percent(1.0 if high else axis.at(axis.low)), overflow="visible")


def _numerals(line: RangeLine, axis: _Axis, units: UnitSystem) -> Iterator[str]:
    for place, text, bold in _written(line.limits, line.quantity, axis, units):
        anchor = "start" if place < 0.03 else "end" if place > 0.97 else "middle"
        yield element("text", words(text), class_="w-num lim" if bold else "w-num", x=percent(place), y=HEIGHT - 4,
                      text_anchor=anchor, font_size=14, font_weight=700 if bold else 400)  # fmt: skip


def _written(limits: Limits, quantity: Quantity, axis: _Axis, units: UnitSystem) -> Iterator[tuple[float, str, bool]]:
    """Place, text and weight of each numeral: limits in bold first, then what else has room."""
    bold = [limits.aim_low, limits.aim_high, limits.bathing_low, limits.bathing_high]
    bold += [limits.keep_out_low, limits.keep_out_high]
    taken: list[float] = []
    for value, heavy in [*((v, True) for v in bold), (axis.low, False), (axis.high, False)]:
        place = axis.at(value)
        if axis.low <= value <= axis.high and all(abs(place - other) >= _GAP for other in taken):
            taken.append(place)
            yield place, shown(value, quantity, units), heavy


def axis_drawing(limits: Limits, quantity: Quantity, units: UnitSystem = UnitSystem.METRIC) -> dict[str, object]:
    """The axis alone for another way of drawing: stretches (kind, from, to) and numerals (place, text, bold)."""
    axis = _Axis(limits)
    stretches = [(k, axis.at(a), axis.at(b)) for k, a, b in axis_stretches(limits, axis.low, axis.high)]
    return {"stretches": stretches, "numerals": list(_written(limits, quantity, axis, units))}
