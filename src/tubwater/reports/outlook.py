"""The outlook for a terminal: day by day, when the sanitizer falls, and the next test."""

from __future__ import annotations

import numpy as np

from tubwater.reports import units as show
from tubwater.reports.text import sentence, text_of
from tubwater.reports.wrapped import wrapped
from tubwater.services.outlook import LEVELS, SATURATION, Outlook
from tubwater.services.tubfile import UnitSystem

__all__ = ["render_outlook"]

_MIDDLE = LEVELS.index(0.5)
_PER_DAY = 24


def render_outlook(outlook: Outlook, units: UnitSystem = UnitSystem.METRIC) -> str:
    """One line a day with the middle and the span of 90 in 100, then what follows from it."""
    names = [name for name in outlook.bands if name != SATURATION]
    head = f"{'':<12}" + "".join(f"{text_of('quantity', name):<19}" for name in names[:3]) + _say("in-range")
    lines = [head.rstrip()]
    for start in range(0, len(outlook.times), _PER_DAY):
        day = slice(start, start + _PER_DAY)
        cells = "".join(f"{_span(outlook.bands[name][:, day]):<19}" for name in names[:3])
        lines.append(
            f"{show.dated(outlook.times[start], 'row'):<12}{cells}{show.percent(float(outlook.in_band[day].mean())):>8}"
        )
    return "\n".join([*lines, "", *_follows(outlook, units), ""])


def _span(bands: np.ndarray) -> str:
    low, middle, high = bands[0].mean(), bands[_MIDDLE].mean(), bands[-1].mean()
    return f"{_figure(middle)} ({_figure(low)}-{_figure(high)})"


def _figure(value: float) -> str:
    """No more figures than a keeper's test can show, and no idle zero."""
    return show.number(round(value, 1)) if value < 10.0 else show.believed(value)


def _follows(outlook: Outlook, units: UnitSystem) -> list[str]:
    falls, test = (("maybe", outlook.falls_maybe), ("falls", outlook.falls_likely)), outlook.next_test
    lines = [_say(kind, at=show.moment(at)) for kind, at in falls if at]
    lines.append(_say("test", at=show.moment(test.at), why=sentence(test.reason, units)))
    if outlook.test_holds is not None:
        method = text_of("method", outlook.scenario.test_now)
        kind = "test-holds" if outlook.test_holds >= 1.0 else "test-holds-not"
        lines.append(_say(kind, method=method, hours=outlook.test_holds))
    return [wrapped(line) for line in lines]


def _say(kind: str, **values: object) -> str:
    return text_of("outlook", kind, values)
