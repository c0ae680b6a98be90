"""A quantity over time: what is believed as bands, what was read with its error, limits, and what happened."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from tubwater.facts import Limits
from tubwater.reports.scale import FAINT, Table, axis_rule, axis_stretches, limit_words, shown, span_words
from tubwater.reports.svg import element, percent, points, words
from tubwater.reports.text import quantity_unit, text_of
from tubwater.reports.units import dated, moment
from tubwater.services.tubfile import UnitSystem
from tubwater.tub import Quantity

__all__ = ["Band", "BandChart", "Happening", "Seen", "band_chart", "band_table"]

_WIDE, _HIGH, _FOOT = 1000.0, 168.0, 26.0  # units of the nested picture, px of the plot and of the days under it
_EDGE = 0.015  # room at either end, as a share of the width
_MOST_DAYS = 7  # dates written under a chart
_TABLE_ROWS = 24


@dataclass(frozen=True)
class Band:
    """Percentiles at aware times, all of one length. ``planned`` True for what a plan is expected to bring."""

    at: tuple[datetime, ...]
    p5: tuple[float, ...]
    p25: tuple[float, ...]
    p50: tuple[float, ...]
    p75: tuple[float, ...]
    p95: tuple[float, ...]
    planned: bool = False


@dataclass(frozen=True)
class Seen:
    """A reading: its value and the ends of its error bar, in the unit of the quantity."""

    at: datetime
    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Happening:
    """Something that happened or is planned, as the reader is told it."""

    at: datetime
    text: str
    planned: bool = False


@dataclass(frozen=True)
class BandChart:
    """What a chart shows. ``now`` draws a rule; all times aware and in the reader's zone."""

    quantity: Quantity
    limits: Limits
    bands: tuple[Band, ...]
    readings: tuple[Seen, ...] = ()
    happenings: tuple[Happening, ...] = ()
    now: datetime | None = None


def band_chart(chart: BandChart, key: str = "", units: UnitSystem = UnitSystem.METRIC) -> str:
    """The chart as SVG, empty where there is nothing to show.

    ``key`` makes its ids unique on a page. The width is the page's, the height fixed.
    """
    if not chart.bands and not chart.readings:
        return ""
    name = f"bc-{chart.quantity.value.replace(' ', '-')}{'-' if key else ''}{key}"
    frame = _Frame(chart)
    parts = [
        element("title", words(_title(chart, units)), id=f"{name}-t"),
        element("desc", words(_description(chart, units)), id=f"{name}-d"),
        _wanted(chart, frame),
        *_days(frame),
        element("svg", *_bands(chart, frame), width="100%", height=_HIGH,
                viewBox=f"0 0 {_WIDE:.0f} {_HIGH:.0f}", preserveAspectRatio="none"),
        *_limits(chart, frame),
        *_now(chart, frame),
        *_happenings(chart, frame),
        *_readings(chart, frame),
        *_numerals(chart, frame, units),
    ]  # fmt: skip
    return element(
        "svg", *parts, xmlns="http://www.w3.org/2000/svg", class_="plot", width="100%", height=_HIGH + _FOOT,
        role="img", aria_labelledby=f"{name}-t {name}-d", fill="currentColor", overflow="visible",
    )  # fmt: skip


def band_table(chart: BandChart, units: UnitSystem = UnitSystem.METRIC) -> Table:
    """The chart as a table in the order of time: at most two dozen rows of bands, all readings, all happenings."""
    rows: list[tuple[datetime, tuple[str, ...]]] = []
    for band in chart.bands:
        kind = text_of("chart", "planned-at" if band.planned else "believed-at")
        each = max(1, -(-len(band.at) * len(chart.bands) // _TABLE_ROWS))
        for i in range(0, len(band.at), each):
            values = (shown(v, chart.quantity, units) for v in (band.p5[i], band.p50[i], band.p95[i]))
            rows.append((band.at[i], (kind, *values)))
    for seen in chart.readings:
        ends = (shown(v, chart.quantity, units) for v in (seen.low, seen.value, seen.high))
        rows.append((seen.at, (text_of("chart", "read-at"), *ends)))
    rows += [(event.at, (event.text, "", "", "")) for event in chart.happenings]
    head = tuple(text_of("chart", word) for word in ("when", "what", "low", "middle", "high"))
    ordered = sorted(rows, key=lambda row: row[0])
    return Table(_title(chart, units), head, tuple((moment(at), *cells) for at, cells in ordered))


class _Frame:
    """Time from left to right and the quantity upwards."""

    def __init__(self, chart: BandChart) -> None:
        times = [at for band in chart.bands for at in band.at]
        times += [seen.at for seen in chart.readings] + [event.at for event in chart.happenings]
        times += [chart.now] if chart.now else []
        self.since, self.until = min(times), max(times)
        values = [v for band in chart.bands for v in (*band.p5, *band.p95)]
        values += [v for seen in chart.readings for v in (seen.low, seen.high)]
        limits = chart.limits
        values += [limits.aim_low, limits.aim_high]
        values += [v for v in (limits.keep_out_low, limits.bathing_low) if v > 0.0]
        self.low, self.high = min(values), max(values)
        room = 0.08 * (self.high - self.low)
        self.low = self.low - room if self.low - room > 0.0 else 0.0
        self.high += room

    def x(self, at: datetime) -> float:
        """The place of a time, 0 to 1."""
        whole = (self.until - self.since).total_seconds()
        share = (at - self.since).total_seconds() / whole if whole > 0.0 else 0.5
        return _EDGE + (1.0 - 2.0 * _EDGE) * share

    def y(self, value: float) -> float:
        """The height of a value, px from the top, kept inside the plot."""
        share = (value - self.low) / (self.high - self.low)
        return _HIGH * (1.0 - min(max(share, 0.0), 1.0))


def _title(chart: BandChart, units: UnitSystem) -> str:
    return text_of("chart", "name", {"quantity": chart.quantity.value, "unit": quantity_unit(chart.quantity, units)})


def _description(chart: BandChart, units: UnitSystem) -> str:
    frame, quantity = _Frame(chart), chart.quantity
    lows = [v for band in chart.bands for v in band.p5]
    highs = [v for band in chart.bands for v in band.p95]
    values = {
        "since": moment(frame.since),
        "until": moment(frame.until),
        "lowest": shown(min(lows), quantity, units) if lows else None,
        "highest": shown(max(highs), quantity, units) if highs else None,
        "readings": str(len(chart.readings)) if chart.readings else None,
        "aim": span_words(chart.limits.aim_low, chart.limits.aim_high, quantity, units),
        "out": limit_words(chart.limits, "out", quantity, units),
    }
    return text_of("chart", "chart-desc", values)


def _wanted(chart: BandChart, frame: _Frame) -> str:
    top, bottom = frame.y(chart.limits.aim_high), frame.y(chart.limits.aim_low)
    return element("rect", class_="w-band", x="0", width="100%", y=top, height=bottom - top, **FAINT)


def _midnights(frame: _Frame) -> list[datetime]:
    first = frame.since.replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(days=1)
    days = [first + timedelta(days=n) for n in range(max((frame.until - first).days + 1, 0))]
    return days if len(days) <= 16 else days[:: -(-len(days) // 12)]


def _days(frame: _Frame) -> Iterator[str]:
    days = _midnights(frame)
    each = max(1, -(-len(days) // _MOST_DAYS))
    month = 0
    for n, day in enumerate(days):
        x = percent(frame.x(day))
        yield element("line", class_="o-day", x1=x, x2=x, y1=0, y2=_HIGH, stroke="currentColor", stroke_opacity=0.15)
        if n % each == 0 and 0.03 < frame.x(day) < 0.97:
            name = dated(day, "day-month") if day.month != month else f"{day.day}"
            month = day.month
            yield element("text", words(name), class_="w-num", x=x, y=_HIGH + 20.0,
                          text_anchor="middle", font_size=14)  # fmt: skip


def _bands(chart: BandChart, frame: _Frame) -> Iterator[str]:
    for band in chart.bands:
        kind = "to" if band.planned else "is"
        if len(band.at) < 2:
            continue
        yield _area(band.at, band.p5, band.p95, frame, f"o-{kind}90", 0.2)
        yield _area(band.at, band.p25, band.p75, frame, f"o-{kind}50", 0.35)
        middle = "M" + "L".join(f"{_WIDE * frame.x(at):.1f} {frame.y(v):.1f}"
                                for at, v in zip(band.at, band.p50, strict=True))  # fmt: skip
        yield element("path", class_=f"o-mid {kind}", d=middle, fill="none", stroke="currentColor", stroke_width=1.5,
                      stroke_dasharray="5 3" if band.planned else None, vector_effect="non-scaling-stroke")  # fmt: skip


def _area(
    at: Sequence[datetime], low: Sequence[float], high: Sequence[float], frame: _Frame, name: str, opacity: float
) -> str:
    there = [(_WIDE * frame.x(t), frame.y(v)) for t, v in zip(at, high, strict=True)]
    back = [(_WIDE * frame.x(t), frame.y(v)) for t, v in zip(at, low, strict=True)]
    return element("path", class_=name, d=points([*there, *reversed(back)]), fill_opacity=opacity)


def _limits(chart: BandChart, frame: _Frame) -> Iterator[str]:
    """The axis at the left as on a range line, and a dotted rule where people are kept out."""
    for kind, low, high in axis_stretches(chart.limits, frame.low, frame.high):
        yield axis_rule(kind, "0", "0", frame.y(low), frame.y(high))
    for value in (chart.limits.keep_out_low, chart.limits.keep_out_high):
        if frame.low < value < frame.high:
            y = frame.y(value)
            yield element("line", class_="o-keep", x1="0", x2="100%", y1=y, y2=y, stroke="currentColor", stroke_width=2,
                          stroke_dasharray="0 5", stroke_linecap="round")  # fmt: skip


def _now(chart: BandChart, frame: _Frame) -> Iterator[str]:
    if chart.now is not None:
        x = percent(frame.x(chart.now))
        yield element("line", class_="o-now", x1=x, x2=x, y1=0, y2=_HIGH, stroke="currentColor", stroke_width=1)


def _happenings(chart: BandChart, frame: _Frame) -> Iterator[str]:
    """A lozenge on the lower edge; its text stands in the table and shows under the pointer."""
    for event in chart.happenings:
        shape = element("path", element("title", words(event.text)), d="M0-7 6 0 0 7-6 0Z",
                        class_="o-mark to" if event.planned else "o-mark", stroke="currentColor", stroke_width=1.5,
                        fill_opacity=0.0 if event.planned else 1.0)  # fmt: skip
        yield element("svg", shape, x=percent(frame.x(event.at)), y=_HIGH, overflow="visible")


def _readings(chart: BandChart, frame: _Frame) -> Iterator[str]:
    for seen in chart.readings:
        x, low, high = percent(frame.x(seen.at)), frame.y(seen.low), frame.y(seen.high)
        bar = {"x1": x, "x2": x, "y1": low, "y2": high, "stroke": "currentColor"}
        yield element(
            "g",
            element("line", class_="halo", stroke_width=6, **{**bar, "stroke": "Canvas"}),
            element("line", stroke_width=2.5, **bar),
            element(
                "circle", cx=x, cy=frame.y(seen.value), r=4.5, fill="Canvas", stroke="currentColor", stroke_width=2.5
            ),
            class_="o-test",
        )


def _numerals(chart: BandChart, frame: _Frame, units: UnitSystem) -> Iterator[str]:
    limits, taken = chart.limits, list[float]()
    for value in (limits.aim_low, limits.aim_high, limits.keep_out_low, limits.keep_out_high):
        y = frame.y(value)
        if not frame.low <= value <= frame.high or any(abs(y - other) < 15.0 for other in taken):
            continue
        taken.append(y)
        yield element("text", words(shown(value, chart.quantity, units)), class_="w-num lim", x="8", y=y - 4.0,
                      font_size=14, font_weight=700)  # fmt: skip
