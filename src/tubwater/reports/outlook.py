"""The outlook for a terminal: day by day, when the sanitizer falls, and the next test."""

from __future__ import annotations

import numpy as np

from tubwater.reports import units as show
from tubwater.reports.text import sentence, text_of
from tubwater.services.outlook import LEVELS, SATURATION, Outlook
from tubwater.services.tubfile import UnitSystem

__all__ = ["render_outlook"]

_MIDDLE = LEVELS.index(0.5)
_PER_DAY = 24


def render_outlook(outlook: Outlook, units: UnitSystem = UnitSystem.METRIC) -> str:
    """One line a day with the middle and the span of 90 in 100, then what follows from it."""
    names = [name for name in outlook.bands if name != SATURATION]
    head = f"{'':<12}" + "".join(f"{text_of('quantity', name):<19}" for name in names[:3]) + "in range"
    lines = [head.rstrip()]
    for start in range(0, len(outlook.times), _PER_DAY):
        day = slice(start, start + _PER_DAY)
        cells = "".join(f"{_span(outlook.bands[name][:, day]):<19}" for name in names[:3])
        lines.append(f"{outlook.times[start]:%a %d %b}  {cells}{show.percent(float(outlook.in_band[day].mean())):>8}")
    return "\n".join([*lines, "", *_follows(outlook, units), ""])


def _span(bands: np.ndarray) -> str:
    low, middle, high = bands[0].mean(), bands[_MIDDLE].mean(), bands[-1].mean()
    return f"{show.number(middle)} ({show.number(low)}-{show.number(high)})"


def _follows(outlook: Outlook, units: UnitSystem) -> list[str]:
    lines = []
    if outlook.falls_maybe:
        lines.append(f"The sanitizer may be too low from {show.moment(outlook.falls_maybe)} on (5 in 100).")
    if outlook.falls_likely:
        lines.append(f"It is more likely too low than not from {show.moment(outlook.falls_likely)} on.")
    lines.append(f"Test again by {show.moment(outlook.next_test.at)}: {sentence(outlook.next_test.reason, units)}")
    if outlook.test_holds is not None:
        lines.append(f"A test now with that method would hold for about {show.hours(outlook.test_holds)}.")
    return lines
