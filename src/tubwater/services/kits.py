"""What a keeper can test with, and which quantities of it are asked for in a tub."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from tubwater.facts import Guideline, Limits, MethodQuantity, guidelines, methods, substances
from tubwater.tub import Event, FeederSet, Quantity, Sanitizer, Tub

__all__ = [
    "BESIDE_A_TUB",
    "Asked",
    "asked_of",
    "asked_of_feeder",
    "limits_of",
    "sanitizer_of",
    "usual_strength",
    "wait_seconds",
]

# In the order in which a keeper meets them; the others belong to the utility.
BESIDE_A_TUB = (
    "strip",
    "photometer",
    "fas-dpd-drops",
    "drop-titration",
    "visual-comparator",
    "electrode",
    "electrode-uncalibrated",
    "thermometer",
    "panel-thermometer",
    "turbidity-tube",
    "conductivity-meter",
)
_ORDER = (
    Quantity.BROMINE,
    Quantity.FREE_CHLORINE,
    Quantity.TOTAL_CHLORINE,
    Quantity.PH,
    Quantity.TOTAL_ALKALINITY,
    Quantity.CALCIUM_HARDNESS,
    Quantity.TOTAL_HARDNESS,
    Quantity.CYANURIC_ACID,
    Quantity.TEMPERATURE,
    Quantity.CONDUCTIVITY,
)
_CHLORINE_ONLY = (Quantity.FREE_CHLORINE, Quantity.TOTAL_CHLORINE, Quantity.CYANURIC_ACID)


@dataclass(frozen=True)
class Asked:
    """One quantity that a method reads: its pads where the kit prints any, else its increment."""

    quantity: Quantity
    reads: MethodQuantity


def asked_of(method: str, tub: Tub, only: tuple[Quantity, ...] = ()) -> tuple[Asked, ...]:
    """What to read with a method in a tub, the sanitizer first; ``only`` narrows it."""
    out = (Quantity.BROMINE,) if tub.sanitizer is Sanitizer.CHLORINE else _CHLORINE_ONLY
    reads = methods()[method].quantities
    wanted = [q for q in _ORDER if q in reads and q not in out and (not only or q in only)]
    return tuple(Asked(q, reads[q]) for q in wanted)


def asked_of_feeder(tub: Tub, events: Sequence[Event]) -> tuple[Asked, ...]:
    """How much is left of the tablets, asked beside any test where some were put in."""
    sets = sorted((e for e in events if isinstance(e, FeederSet)), key=lambda e: e.at)
    if tub.sanitizer is not Sanitizer.BROMINE or not sets or sets[-1].tablets <= 0.0:
        return ()
    return (Asked(Quantity.TABLETS_LEFT, methods()["feeder-by-eye"].quantities[Quantity.TABLETS_LEFT]),)


def sanitizer_of(tub: Tub) -> Quantity:
    """What is read of the tub's sanitizer."""
    return Quantity.BROMINE if tub.sanitizer is Sanitizer.BROMINE else Quantity.FREE_CHLORINE


def limits_of(tub: Tub) -> Mapping[Quantity, Limits]:
    """The limits in force."""
    guideline: Guideline = guidelines()[tub.guideline]
    return guideline.limits


def wait_seconds(method: str) -> float:
    """How long a method waits before it is read, s."""
    return methods()[method].wait_seconds


def usual_strength(substance: str) -> str:
    """The usual strength on sale where products differ little; "" where the label has to be read.

    A tenth either way is less than a level scoop is off (judgement).
    """
    low, usual, high = substances()[substance].strength
    return f"{100.0 * usual:.4g} %" if high - low <= 0.2 * usual else ""
