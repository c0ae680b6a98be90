"""What a plan is asked for beside the usual visit, from a face: a purpose and the numbers that it asks for."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from tubwater.advice import About
from tubwater.errors import InputError, UnknownKey
from tubwater.facts.purposes import Ask, Purpose, purposes
from tubwater.tub import Tub
from tubwater.tub.data import from_data
from tubwater.units import Dimension, parse_amount, parse_number

__all__ = ["About", "Ask", "Purpose", "about_of", "purposes_for", "said_of"]

_UNITS: Mapping[str, tuple[Dimension, str]] = {
    "days": (Dimension.TIME, "d"),
    "minutes": (Dimension.TIME, "min"),
    "hours": (Dimension.TIME, "h"),
    "litres": (Dimension.VOLUME, "L"),
    "soft": (Dimension.HARDNESS, "mg/L"),
    "target": (Dimension.HARDNESS, "mg/L"),
    "metal": (Dimension.CONCENTRATION, "mg/L"),
    "tap_metal": (Dimension.CONCENTRATION, "mg/L"),
}


def purposes_for(tub: Tub) -> tuple[Purpose, ...]:
    """The purposes that a tub can have, in the order of the data."""
    return tuple(p for p in purposes().values() if p.tub in ("", str(tub.sanitizer)))


def about_of(key: str, said: Mapping[str, str]) -> About:
    """A purpose with what was said of it; an empty text is "not said", a number without a unit has the usual one.

    Raises:
        UnknownKey: there is no such purpose.
        InputError: a number that is not asked for, no number, or out of its range.
    """
    if key not in purposes():
        raise UnknownKey("purpose", key, purposes())
    asks = purposes()[key].asks
    known = {name: text.strip() for name, text in said.items() if text.strip()}
    for name in known:
        if name not in asks:
            raise InputError.one(
                name, known[name], f"one of {', '.join(asks)}" if asks else "nothing more for this plan"
            )
    found = {name: _number(name, known[name], ask) if name in known else ask.usual for name, ask in asks.items()}
    return from_data(About, {"key": key, **found})


def said_of(pairs: Iterable[str]) -> dict[str, str]:
    """Texts such as "days=3" by their names."""
    return {name.strip(): value for name, _, value in (pair.partition("=") for pair in pairs)}


def _number(name: str, text: str, ask: Ask) -> float:
    dimension, unit = _UNITS.get(name, (None, ""))
    bare = dimension is None or not any(sign.isalpha() for sign in text)
    value = parse_number(text, name) if bare or dimension is None else parse_amount(text, name, dimension).to(unit)
    if not ask.low <= value <= ask.high:
        raise InputError.one(name, text, f"{ask.low:g} to {ask.high:g} {unit}".strip())
    return value
