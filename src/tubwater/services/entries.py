"""Reading what a keeper wrote, table by table: each getter notes what is wrong and goes on, so that nothing hides."""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterable, Mapping
from datetime import date, datetime
from enum import StrEnum
from typing import Any, TypeVar

from tubwater.errors import InputError, Problem, quoted
from tubwater.facts import Form, Substance
from tubwater.units import Dimension, parse_amount

__all__ = ["Entries"]

_FIRST_YEAR = 2000  # an earlier one is a slip of the hand
_Word = TypeVar("_Word", bound=StrEnum)


class Entries:
    """One table of a file. ``problems`` is shared by all tables of the file."""

    def __init__(
        self, table: Mapping[str, Any], path: str, problems: list[Problem], now: datetime | None = None
    ) -> None:
        self._table, self.path, self.problems, self.now = table, path, problems, now
        self._asked: set[str] = set()

    def __contains__(self, key: str) -> bool:
        return key in self._table

    def where(self, key: str) -> str:
        """The name of an entry as the keeper finds it in the file."""
        return f"{self.path}.{key}" if self.path else key

    def wrong(self, key: str, given: object, expected: str) -> None:
        """Notes a problem."""
        shown = quoted(given) if isinstance(given, str) else _shown(given)
        self.problems.append(Problem(self.where(key), shown, expected))

    def raw(self, key: str) -> Any:
        """The entry as it stands, None where there is none."""
        self._asked.add(key)
        return self._table.get(key)

    def need(self, key: str, expected: str) -> None:
        """Notes a problem where an entry is missing."""
        self._asked.add(key)
        if key not in self._table:
            self.problems.append(Problem(self.where(key), "nothing", expected))

    def text(self, key: str, default: str = "") -> str:
        """A text."""
        value = self.raw(key)
        if value is None:
            return default
        if not isinstance(value, str) or not value.strip():
            self.wrong(key, value, "a text in quotes")
            return default
        return value.strip()

    def word(self, key: str, words: type[_Word], default: _Word) -> _Word:
        """One of a closed list of words."""
        value = self.raw(key)
        if value is None:
            return default
        if isinstance(value, bool) and {"yes", "no"} <= {str(w) for w in words}:
            value = "yes" if value else "no"
        if value in [str(w) for w in words]:
            return words(value)
        self.wrong(key, value, _one_of([str(w) for w in words], value))
        return default

    def yes(self, key: str, default: bool) -> bool:
        """True or false."""
        value = self.raw(key)
        if value is not None and not isinstance(value, bool):
            self.wrong(key, value, "true or false, without quotes")
        return value if isinstance(value, bool) else default

    def number(self, key: str, low: float, high: float, what: str) -> float | None:
        """A bare number within limits; None where there is none or it is wrong."""
        value = self.raw(key)
        if value is None:
            return None
        if not _is_number(value) or not low <= float(value) <= high:
            self.wrong(key, value, f"{what}, from {low:g} to {high:g}")
            return None
        return float(value)

    def amount(
        self,
        key: str,
        dimension: Dimension,
        unit: str,
        example: str,
        low: float = 0.0,
        high: float = math.inf,
        liquid: bool = False,
    ) -> float | None:
        """An amount with its unit, in ``unit``; None where there is none or it is wrong."""
        value = self.raw(key)
        if value is None:
            return None
        if not isinstance(value, str):
            self.wrong(key, value, f'an amount with its unit in quotes, such as "{example}"')
            return None
        try:
            found = parse_amount(value, self.where(key), dimension, liquid).to(unit)
        except InputError as error:
            self.problems.extend(error.problems)
            return None
        if not low <= found <= high:
            self.wrong(key, value, _span(low, high, unit))
            return None
        return found

    def grams(
        self, key: str, substance: Substance | None, example: str, low: float = 0.0, high: float = math.inf
    ) -> float | None:
        """Product, g; of a liquid it may be told by volume. None where there is none or it is wrong."""
        liquid = substance is not None and substance.form is Form.LIQUID
        if substance is None or not liquid or not _is_volume(self.raw(key)):
            return self.amount(key, Dimension.MASS, "g", example, low, high, liquid)
        litres = self.amount(key, Dimension.VOLUME, "L", example, liquid=True)
        found = None if litres is None else litres * 1000.0 * (substance.density_kg_per_l or 1.0)
        if found is not None and not low <= found <= high:
            self.wrong(key, self.raw(key), f"{_span(low, high, 'g')} of product")
            return None
        return found

    def moment(self, key: str) -> datetime | None:
        """A time; one without an offset is taken in the zone of now. None where there is none or it is wrong."""
        value = self.raw(key)
        if value is None:
            return None
        value = _time_of(value)
        if value is None:
            self.wrong(key, self._table[key], "a day and time, such as 2026-11-20T09:00:00")
            return None
        if value.tzinfo is None and self.now is None:
            self.wrong(key, value, "a time with its offset, such as 2026-11-20T09:00:00+01:00")
            return None
        return value if value.tzinfo else value.replace(tzinfo=self.now.tzinfo if self.now else None)

    def day(self, key: str) -> date | None:
        """A day; None where there is none or it is wrong."""
        value = self.raw(key)
        if value is None:
            return None
        found = _day_of(value)
        if found is None:
            self.wrong(key, value, "a day, such as 2026-11-20")
        return found

    def past(self, key: str = "at") -> datetime | None:
        """A time that is over; now where none is given."""
        found = self.moment(key)
        if found is None and key not in self._table:
            if self.now is None:
                self.need(key, "the time of it, such as 2026-11-20T09:00:00+01:00")
            return self.now
        if found and self.now and found > self.now:
            self.wrong(key, found, f"a time before now ({self.now:%Y-%m-%d %H:%M})")
            return None
        if found and found.year < _FIRST_YEAR:
            self.wrong(key, found, f"a time after the year {_FIRST_YEAR - 1}")
            return None
        return found

    def table(self, key: str) -> Entries:
        """A table inside this one; empty where there is none."""
        value = self.raw(key)
        if value is not None and not isinstance(value, Mapping):
            self.wrong(key, value, f"a table [{self.where(key)}]")
            value = None
        return Entries(value or {}, self.where(key), self.problems, self.now)

    def tables(self, key: str) -> list[Entries]:
        """The tables of a list of tables."""
        value = self.raw(key)
        if value is None:
            return []
        if not isinstance(value, list) or not all(isinstance(row, Mapping) for row in value):
            self.wrong(key, value, f"tables headed [[{self.where(key)}]]")
            return []
        return [Entries(row, f"{self.where(key)}[{n}]", self.problems, self.now) for n, row in enumerate(value, 1)]

    def names(self) -> tuple[str, ...]:
        """The names of all entries."""
        return tuple(self._table)

    def done(self, more: Iterable[str] = ()) -> None:
        """Notes every entry that nobody asked for: no entry is silently passed over."""
        known = sorted(self._asked | set(more))
        for key in self._table:
            if key not in self._asked:
                self.problems.append(Problem(self.where(key), "an unknown entry", _one_of(known, key)))


def _time_of(value: object) -> datetime | None:
    """A time as it stands, or from a text in ISO 8601 with day and time."""
    if isinstance(value, datetime):
        return value
    try:
        return datetime.fromisoformat(value) if isinstance(value, str) and len(value) > 10 else None
    except ValueError:
        return None


def _day_of(value: object) -> date | None:
    """A day as it stands, that of a time, or from a text in ISO 8601."""
    if isinstance(value, date):
        return value.date() if isinstance(value, datetime) else value
    try:
        return date.fromisoformat(value) if isinstance(value, str) and len(value) == 10 else None
    except ValueError:
        return None


def _is_volume(value: object) -> bool:
    """What cannot be meant counts as none, and is told when it is read."""
    try:
        return isinstance(value, str) and parse_amount(value, liquid=True).unit.dimension is Dimension.VOLUME
    except InputError:
        return False


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _shown(value: object) -> str:
    text = str(value).lower() if isinstance(value, bool) else str(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _span(low: float, high: float, unit: str) -> str:
    return f"at least {low:g} {unit}" if math.isinf(high) else f"{low:g} to {high:g} {unit}"


def _one_of(known: list[str], given: object) -> str:
    near = difflib.get_close_matches(str(given), known, n=3, cutoff=0.5)
    hint = f"; did you mean {' or '.join(near)}?" if near else ""
    return f"one of {', '.join(known)}{hint}".rstrip("?")
