"""What the water is believed to be, for a terminal of 80 columns."""

from __future__ import annotations

from collections.abc import Iterator

from tubwater.reports import units as show
from tubwater.reports.plain import reading_words
from tubwater.reports.text import text_of
from tubwater.reports.wrapped import bullet, wrapped
from tubwater.services.advise import WaterReport
from tubwater.services.tubfile import UnitSystem

__all__ = ["render_water"]


def render_water(water: WaterReport, units: UnitSystem = UnitSystem.METRIC) -> str:
    """Each quantity with its doubt, what the water does with lime, how much there is, and readings that do not fit."""
    lines = [wrapped(text_of("water", "head")), *map(bullet, _rows(water, units))]
    return "\n".join([*lines, "", wrapped(_fitting(water))]) + "\n"


def _rows(water: WaterReport, units: UnitSystem) -> Iterator[str]:
    yield from (reading_words(value, units) for value in water.quantities)
    low, middle, high = (f"{'+' if v > 0.0 else ''}{show.fixed(v, 1)}" for v in water.saturation_index)
    yield text_of("water", "index", {"low": low, "middle": middle, "high": high, "lime": text_of("lime", water.lime)})
    low, middle, high = (show.about_litres(v, units, 2) for v in water.litres)
    yield text_of("water", "litres", {"low": low, "middle": middle, "high": high})


def _fitting(water: WaterReport) -> str:
    if not water.suspects:
        return text_of("water", "fits")
    return text_of("water", "does-not-fit", {"list": ", ".join(text_of("quantity", name) for name in water.suspects)})
