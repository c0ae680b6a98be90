"""Something happened at a tub: what is noted at once, so that people are kept out, and the first steps."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import Any

from tubwater.errors import UnknownKey
from tubwater.facts import Basis, BasisKind
from tubwater.services.looks import SEEN_AT_EACH_TEST, look_body, newest_look, standing_signs
from tubwater.tub import Clarity, Event, Sign

__all__ = ["Happened", "all_happened", "find_happened", "happened_body", "settled_body"]


@dataclass(frozen=True)
class Happened:
    """Attributes:
    sign, clarity: what is noted at once. lapse: whether it is asked for how long there was too little sanitizer.
    steps: keys of the first steps, in order.
    """

    key: str
    sign: Sign | None
    clarity: Clarity | None
    lapse: bool
    steps: tuple[str, ...]
    basis: Basis


@cache
def all_happened() -> Mapping[str, Happened]:
    """Everything that may have happened, by key."""
    text = resources.files("tubwater.services").joinpath("data/happened.toml").read_text(encoding="utf-8")
    return MappingProxyType({key: _read(key, row) for key, row in tomllib.loads(text).items()})


def find_happened(key: str) -> Happened:
    """One of them.

    Raises:
        UnknownKey: there is none of this name.
    """
    if key not in all_happened():
        raise UnknownKey("happening", key, all_happened())
    return all_happened()[key]


def _read(key: str, row: Mapping[str, Any]) -> Happened:
    return Happened(
        key,
        Sign(row["sign"]) if "sign" in row else None,
        Clarity(row["clarity"]) if "clarity" in row else None,
        row.get("lapse", False),
        tuple(row["steps"]),
        Basis(BasisKind(row["basis"]), tuple(row["sources"]), row["note"]),
    )


def happened_body(events: Sequence[Event], what: Happened, hours: float | None = None) -> dict[str, Any]:
    """The look that is noted at once; what stood before stands on.

    Args:
        hours: that there was too little sanitizer, h, where that is asked; None is "don't know".
    """
    look = newest_look(events)
    clarity = what.clarity or (look.clarity if look else Clarity.UNKNOWN)
    signs = standing_signs(events) | ({what.sign} if what.sign else set())
    answers = {"too_little_sanitizer_for": f"{hours:g} h"} if what.lapse and hours else {}
    return look_body(events, clarity, frozenset(signs & SEEN_AT_EACH_TEST), answers) | _lasting(signs)


def _lasting(signs: frozenset[Sign]) -> dict[str, Any]:
    return {"signs": sorted(str(sign) for sign in signs)}


def settled_body(events: Sequence[Event], sign: Sign) -> dict[str, Any]:
    """The look that says a sign is settled; every other one stands on, and the drain was not looked at."""
    rest = standing_signs(events) - {sign}
    return look_body(events, Clarity.UNKNOWN, rest & SEEN_AT_EACH_TEST, {}, frozenset({sign}))
