"""Numbers as a keeper reads them, metric or US."""

from __future__ import annotations

import math
from datetime import date, datetime, time, timedelta

from tubwater.reports.language import language, texts
from tubwater.reports.zone import placed
from tubwater.services.tubfile import UnitSystem
from tubwater.tub import as_kept

__all__ = [
    "GRAMS_PER_OUNCE",
    "LITRES_PER_US_GALLON",
    "MILLILITRES_PER_US_FLUID_OUNCE",
    "about_day",
    "about_grams",
    "about_litres",
    "believed",
    "clock",
    "dated",
    "day",
    "days",
    "fixed",
    "fraction",
    "grams",
    "hours",
    "lasting",
    "litres",
    "millilitres",
    "minutes",
    "moment",
    "moment_from",
    "number",
    "percent",
    "returning",
    "rough",
    "rough_down",
    "temperature",
]

GRAMS_PER_OUNCE = 28.349523125  # avoirdupois, exact
LITRES_PER_US_GALLON = 3.785411784  # exact
MILLILITRES_PER_US_FLUID_OUNCE = 29.5735295625  # exact
_SOON = timedelta(days=28)  # a day that is only about right is told as a day within this,
_IN_TIME = timedelta(days=550)  # as a month within this, and as a year after it
_NIGHT = (time(22), time(6))  # nobody comes back in it
_PARTS = {0.25: "¼", 0.5: "½", 0.75: "¾"}
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def _word(section: str, kind: str, **values: object) -> str:
    return texts(language())[section][kind].format(**values)


def fixed(value: float, places: int) -> str:
    """A number with so many decimal places, with the decimal mark of the language."""
    return f"{value:.{places}f}".replace(".", _word("number", "mark"))


def number(value: float) -> str:
    """A number to about three figures without idle zeros."""
    if not math.isfinite(value):
        return _word("number", "no-limit" if value > 0 else "nothing")
    size = abs(value)
    places = 0 if size >= 100 else 1 if size >= 10 else 2
    text = f"{value:.{places}f}"
    return (text.rstrip("0").rstrip(".") if "." in text else text).replace(".", _word("number", "mark"))


def rough(value: float) -> str:
    """A number to two figures, for what is only about right."""
    if not math.isfinite(value) or value == 0.0:
        return number(value)
    return number(round(value, 1 - math.floor(math.log10(abs(value)))))


def believed(value: float) -> str:
    """A value of the water no finer than a keeper's test shows it: to a tenth below ten, else to two figures."""
    return fixed(value, 1) if round(abs(value), 1) < 10.0 else rough(value)


def rough_down(value: float) -> str:
    """The same, never rounded up, for what falls short of something."""
    if not math.isfinite(value) or value == 0.0:
        return number(value)
    step = 10.0 ** (math.floor(math.log10(abs(value))) - 1)
    return number(math.floor(value / step + 1e-9) * step)


def percent(share: float) -> str:
    """A share (0 to 1) in per cent, never rounded up to certainty."""
    whole = round(100.0 * share)
    if whole >= 100 and share < 1.0:
        return _word("number", "over", value="99 %")
    return _word("number", "under", value="1 %") if whole <= 0 and share > 0.0 else f"{whole} %"


def grams(value: float, units: UnitSystem = UnitSystem.METRIC) -> str:
    """A mass given in g."""
    if units is UnitSystem.US:
        return f"{number(value / GRAMS_PER_OUNCE)} oz"
    return (
        f"{number(value / 1000.0)} kg"
        if value >= 1000.0
        else f"{value:.0f} g"
        if value >= 10.0
        else f"{number(value)} g"
    )


def about_grams(value: float, units: UnitSystem = UnitSystem.METRIC) -> str:
    """A mass given in g that is only about right, to two figures of its unit."""
    size = value / GRAMS_PER_OUNCE if units is UnitSystem.US else value
    if not math.isfinite(size) or size <= 0.0:
        return grams(value, units)
    clean = round(size, 1 - math.floor(math.log10(size)))
    return grams(clean * GRAMS_PER_OUNCE if units is UnitSystem.US else clean, units)


def litres(value: float, units: UnitSystem = UnitSystem.METRIC) -> str:
    """A volume given in L."""
    if units is UnitSystem.US:
        return f"{number(value / LITRES_PER_US_GALLON)} US gal"
    return f"{number(value)} L"


def about_litres(value: float, units: UnitSystem = UnitSystem.METRIC, figures: int = 3) -> str:
    """A volume given in L that is only about right, to so many figures of its unit."""
    size = value / LITRES_PER_US_GALLON if units is UnitSystem.US else value
    return (
        f"{float(f'{size:.{figures}g}'):.0f} {'US gal' if units is UnitSystem.US else 'L'}"
        if size >= 100.0
        else litres(value, units)
    )


def millilitres(value: float, units: UnitSystem = UnitSystem.METRIC) -> str:
    """A small volume given in mL."""
    if units is UnitSystem.US:
        return f"{number(value / MILLILITRES_PER_US_FLUID_OUNCE)} US fl oz"
    return f"{value:.0f} mL"


def temperature(value: float, units: UnitSystem = UnitSystem.METRIC) -> str:
    """A temperature given in degC."""
    return f"{number(value * 1.8 + 32.0)} °F" if units is UnitSystem.US else f"{number(value)} °C"


def minutes(value: float) -> str:
    """A span given in min, in minutes or hours."""
    whole = round(value)
    if whole < 120:
        return _word("number", "minute") if whole == 1 else _word("number", "minutes", value=whole)
    if whole % 60 and whole < 600:
        return _word("number", "hours-minutes", hours=whole // 60, minutes=f"{whole % 60:02d}")
    return hours(value / 60.0)


def lasting(value: float) -> str:
    """A wait, or how long something takes, given in min, as it is kept."""
    return minutes(as_kept(value))


def hours(value: float, days: str = "days") -> str:
    """A span given in h, in minutes, hours or days.

    ``days`` is the form of that word: "days-later" where the language bends it behind "in", "after" or "since".
    """
    if value < 2.0:
        return minutes(60.0 * value)
    if value < 72.0:
        return _word("number", "hours", value=round(value))
    return _word("number", days, value=number(round(value / 24.0, 1)))


def days(value: float, form: str = "days") -> str:
    """A span given in d, in hours where it is about one day; ``form`` as in `hours`."""
    return hours(24.0 * value, form) if value < 2.0 else _word("number", form, value=number(value))


def dated(at: date, form: str) -> str:
    """A day, or a time with its day, in one of the forms of the section "date"."""
    month, weekday = _MONTHS[at.month - 1], _WEEKDAYS[at.weekday()]
    named = {
        "month": _word("month", month),
        "month_long": _word("month-long", month),
        "weekday": _word("weekday", weekday),
        "weekday_long": _word("weekday-long", weekday),
    }
    return _word("date", form, day=at.day, year=at.year, time=f"{at:%H:%M}", **named)


def moment(at: datetime) -> str:
    """A time with its day, in the reader's zone: "Fri 20 Nov, 09:00"."""
    return dated(placed(at), "moment")


def moment_from(at: datetime) -> str:
    """A time from which on something counts: on five minutes, never earlier."""
    return moment(_on_five(at))


def returning(at: datetime) -> str:
    """When to come back at the earliest; in the night that is the morning after."""
    there = placed(_on_five(at))
    late, early = _NIGHT
    if early <= there.time() < late:
        return moment(there)
    return dated(there + timedelta(days=1), "next-morning") if there.time() >= late else dated(there, "morning")


def _on_five(at: datetime) -> datetime:
    """The same moment, or the next on five minutes."""
    over = timedelta(minutes=at.minute % 5, seconds=at.second, microseconds=at.microsecond)
    return at + timedelta(minutes=5) - over if over else at


def day(at: date) -> str:
    """A day, or that of a time: "20 Nov 2026"."""
    return dated(at, "day")


def about_day(at: datetime, now: datetime, soon: timedelta = _SOON) -> str:
    """A day that is only about right: the farther off, the coarser ("20 Nov 2026", "Jan 2027", "2029")."""
    ahead, there = at - now, placed(at)
    return day(there) if ahead <= soon else dated(there, "month-year") if ahead <= _IN_TIME else f"{there.year}"


def clock(minutes_from_start: float) -> str:
    """A time mark: +0:25, or days for long plans."""
    whole = round(minutes_from_start)
    return f"+{whole // 60}:{whole % 60:02d}"


def fraction(value: float) -> str:
    """A count of measures with quarters as a person says them: 1½."""
    whole, rest = divmod(round(value * 100.0) / 100.0, 1.0)
    sign = _PARTS.get(round(rest, 2))
    if sign is None:
        return number(value)
    return sign if whole == 0 else f"{whole:.0f}{sign}"
