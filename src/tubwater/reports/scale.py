"""What range lines and charts share: values in the keeper's units, limits in words, and tables."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from tubwater.facts import Limits
from tubwater.reports import units as show
from tubwater.reports.svg import element
from tubwater.reports.text import quantity_unit, text_of
from tubwater.services.tubfile import UnitSystem
from tubwater.tub import Quantity

__all__ = [
    "FAINT",
    "Table",
    "axis_rule",
    "axis_stretches",
    "limit_words",
    "rounded",
    "shown",
    "span_words",
    "with_unit",
]

# The wanted range without a style sheet: an outline, so that a sheet need only say how it is filled.
FAINT: Mapping[str, object] = {"fill": "none", "stroke": "currentColor", "stroke_opacity": 0.25}


@dataclass(frozen=True)
class Table:
    """A table that says in words and figures what a picture shows."""

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def shown(value: float, quantity: Quantity, units: UnitSystem) -> str:
    """A value as a keeper reads it, without its unit, no finer than a test can tell."""
    if not math.isfinite(value):
        return text_of("chart", "nothing")
    if quantity is Quantity.TEMPERATURE:
        return show.temperature(value, units).split()[0]
    if quantity is Quantity.PH:
        return show.fixed(value, 1)
    return f"{value:.0f}" if value >= 20.0 else show.number(round(value, 1))


def rounded(value: float, quantity: Quantity) -> float:
    """A value (in the unit of its quantity) as fine as :func:`shown` shows it, so that words and figures agree."""
    if quantity is not Quantity.PH and quantity is not Quantity.TEMPERATURE and value >= 20.0:
        return float(round(value))
    return round(value, 1)


def with_unit(text: str, quantity: Quantity, units: UnitSystem) -> str:
    """A shown value with its unit."""
    return f"{text} {quantity_unit(quantity, units)}".strip()


def span_words(low: float, high: float, quantity: Quantity, units: UnitSystem) -> str:
    """An interval in words: "3 to 5", "below 1", "above 10"."""
    first, last = shown(low, quantity, units), shown(high, quantity, units)
    if low == -math.inf:
        return text_of("chart", "below", {"value": last})
    if high == math.inf:
        return text_of("chart", "above", {"value": first})
    return first if first == last else text_of("chart", "span", {"low": first, "high": last})


def limit_words(limits: Limits, which: str, quantity: Quantity, units: UnitSystem) -> str:
    """What is wanted ("aim"), what allows bathing ("bathing") or what keeps people out ("out"); empty for no limit."""
    if which == "aim":
        return span_words(limits.aim_low, limits.aim_high, quantity, units)
    low, high = _ends(limits, "bathing") if which == "bathing" else _ends(limits, "keep_out")
    if low is None and high is None:
        return ""
    first, last = (shown(v, quantity, units) if v is not None else None for v in (low, high))
    if which == "bathing":
        kind = "at-least" if last is None else "span" if first else "up-to"
        return text_of("chart", kind, {"value": first or last, "low": first, "high": last})
    kind = "below-or-above" if first and last else "below" if first else "above"
    return text_of("chart", kind, {"value": first or last, "low": first, "high": last})


def _ends(limits: Limits, name: str) -> tuple[float | None, float | None]:
    low, high = getattr(limits, f"{name}_low"), getattr(limits, f"{name}_high")
    return (low if low > 0.0 else None), (high if math.isfinite(high) else None)


def axis_stretches(limits: Limits, low: float, high: float) -> list[tuple[str, float, float]]:
    """The axis from ``low`` to ``high`` as stretches of what the guideline says there: good, ok, not or out."""
    marks = [
        ("out", limits.keep_out_low),
        ("not", limits.bathing_low),
        ("ok", limits.aim_low),
        ("good", limits.aim_high),
        ("ok", limits.bathing_high),
        ("not", limits.keep_out_high),
        ("out", math.inf),
    ]
    found, begin = [], low
    for kind, end in marks:
        stop = min(max(end, begin), high)
        if stop > begin:
            found.append((kind, begin, stop))
        begin = stop
    return found


def axis_rule(kind: str, x1: str, x2: str, y1: float, y2: float) -> str:
    """A stretch of an axis: thick where wanted, thin where allowed, dashed for not yet, dotted to keep people out."""
    look = _LOOKS[kind]
    return element("line", class_=f"w-{kind}", x1=x1, x2=x2, y1=y1, y2=y2, stroke="currentColor", **look)


_LOOKS: dict[str, dict[str, object]] = {
    "good": {"stroke_width": 5},
    "ok": {"stroke_width": 1.5},
    "not": {"stroke_width": 1.5, "stroke_dasharray": "6 4"},
    "out": {"stroke_width": 3, "stroke_dasharray": "0 6", "stroke_linecap": "round"},
}
