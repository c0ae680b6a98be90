"""What a keeper writes of a pot as it was bought: its size, price and dates; and of strips and reagents."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date, datetime

from tubwater.advice.reagents import doubtful_tests, reagents_good_until
from tubwater.errors import InputError, Problem
from tubwater.facts import methods, substances
from tubwater.services.entries import Entries
from tubwater.tub import Event, Package, Reagents
from tubwater.units import parse_number

__all__ = ["old_reagents", "package_of", "reagents_of"]

_MOST_GRAMS = 100_000.0
_MOST_PRICE = 100_000.0
_LETTERS_FIRST = re.compile(r"([^\d\s.,+\-−]{1,12})\s*([+\-−]?[\d.,].*)")
_LETTERS_LAST = re.compile(r"([+\-−]?[\d.,'’\s]*\d)\s*([^\d\s.,+\-−]{1,12})")
_EXPECTED = 'the price with its currency, such as "8.90 EUR"'


def package_of(entries: Entries, substance: str) -> Package:
    """Size, price and dates of a product; what is wrong is noted."""
    grams = entries.grams("size", substances().get(substance), "2 kg", 1.0, _MOST_GRAMS)
    price = _price(entries)
    opened, expires = _dates(entries)
    counted = _counted(entries)
    if price and grams is None and "size" not in entries:
        entries.need("size", 'how much the price is for, such as "2 kg"')
    amount, currency = price or (None, "")
    return Package(grams, amount, currency, opened, expires, counted)


def reagents_of(entries: Entries) -> Reagents | None:
    """Strips or reagents; None where they are wrong."""
    entries.need("method", f"what they test by, one of {', '.join(methods())}")
    method = entries.text("method")
    if method and method not in methods():
        entries.wrong("method", method, f"one of {', '.join(methods())}")
    found = Reagents(method, entries.text("name"), *_dates(entries))
    entries.done()
    return found if method in methods() else None


def old_reagents(packs: Sequence[Reagents], events: Sequence[Event]) -> list[Problem]:
    """What to ask about tests that were made with a pack past its date: each method once, at its newest test."""
    newest = {method: at for at, method in doubtful_tests(packs, events)}
    found = []
    for method, at in newest.items():
        number, pack = next((n, p) for n, p in enumerate(packs, 1) if p.method == method)
        given = f"good until {reagents_good_until(pack).day}, used for a test on {at:%Y-%m-%d}"
        found.append(Problem(f"reagents[{number}].expires", given, "a pack within its date; what it read is doubtful"))
    return found


def _price(entries: Entries) -> tuple[float, str] | None:
    text = entries.raw("price")
    if text is None:
        return None
    found = _LETTERS_FIRST.fullmatch(text.strip()) if isinstance(text, str) else None
    last = _LETTERS_LAST.fullmatch(text.strip()) if isinstance(text, str) else None
    if found is None and last is None:
        entries.wrong("price", text, _EXPECTED)
        return None
    currency, number = found.groups() if found else reversed(last.groups())  # type: ignore[union-attr]
    return _money(entries, number, currency)


def _money(entries: Entries, number: str, currency: str) -> tuple[float, str] | None:
    try:
        amount = parse_number(number, entries.where("price"))
    except InputError as error:
        entries.problems.extend(error.problems)
        return None
    if not 0.0 <= amount <= _MOST_PRICE:
        entries.wrong("price", f"{number} {currency}", f"0 to {_MOST_PRICE:g}")
        return None
    return amount, currency


def _dates(entries: Entries) -> tuple[date | None, date | None]:
    """Opened and good until."""
    opened, expires = entries.day("opened"), entries.day("expires")
    if opened and entries.now and opened > entries.now.date():
        entries.wrong("opened", opened, f"a day that is not after today ({entries.now:%Y-%m-%d})")
    if opened and expires and expires < opened:
        entries.wrong("expires", expires, f"a day that is not before the one of opening ({opened})")
    return opened, expires


def _counted(entries: Entries) -> datetime | None:
    """When the stock was counted; a day counts from its beginning."""
    if "counted" not in entries:
        return None
    day = entries.raw("counted")
    is_day = not isinstance(day, datetime) and (isinstance(day, date) or (isinstance(day, str) and len(day) == 10))
    found = entries.day("counted") if is_day else None
    if not is_day:
        return entries.past("counted")
    if found is None or entries.now is None:
        return None
    at = datetime(found.year, found.month, found.day, tzinfo=entries.now.tzinfo)
    if at > entries.now:
        entries.wrong("counted", found, f"a day that is not after today ({entries.now:%Y-%m-%d})")
        return None
    return at
