"""What was seen and done: the events of a logbook. Times are aware datetimes; nothing derived stands here."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

from tubwater.facts.quantity import OxidantScale, Quantity

__all__ = [
    "CONTAMINATIONS",
    "Answer",
    "Cared",
    "Clarity",
    "Dosed",
    "Drained",
    "Event",
    "FeederSet",
    "Filled",
    "Noticed",
    "Reading",
    "Sign",
    "Soaked",
    "Tested",
]


class Answer(StrEnum):
    """An answer to a question; "don't know" is always one."""

    YES = "yes"
    NO = "no"
    UNKNOWN = "don't know"


class Clarity(StrEnum):
    """How clear the water is."""

    CLEAR = "clear"  # the drain is sharply visible with the jets off
    HAZY = "hazy"
    CLOUDY = "cloudy"
    UNKNOWN = "don't know"


class Sign(StrEnum):
    """Something noticed that keeps people out until it is settled."""

    SLIME = "slime"
    STRONG_SMELL = "strong smell"
    LASTING_FOAM = "lasting foam"
    SUCTION_COVER_MISSING = "suction cover missing"
    PUMP_FAILED = "pump failed"
    PROTECTION_TRIPPED = "protective device tripped"
    CONTAMINATION = "contamination"  # not said which of those below
    FORMED_STOOL = "formed stool"
    DIARRHOEA = "diarrhoea"
    VOMIT = "vomit"
    BLOOD = "blood"
    ANIMAL_OR_FLOOD = "animal or flood water"
    LEGIONELLA = "legionella found"
    GERMS = "other germs found"
    ILLNESS = "illness reported"
    PURPLE_INDICATOR = "purple pH colour"
    CLOSED = "closed"  # by order or for repair, as the record says; no look tells it


CONTAMINATIONS = frozenset(
    {
        *(Sign.CONTAMINATION, Sign.FORMED_STOOL, Sign.DIARRHOEA, Sign.VOMIT, Sign.BLOOD, Sign.ANIMAL_OR_FLOOD),
        *(Sign.LEGIONELLA, Sign.GERMS, Sign.ILLNESS),
    }
)


@dataclass(frozen=True)
class Reading:
    """One quantity as it was read.

    Attributes:
        low, high: what was read, in ``unit``; equal for a plain value, different for "between two steps";
            ``low`` -inf for "below the first step", ``high`` +inf for "above the last".
        unit: as printed by the kit, a key of the unit list.
        method: key in ``facts/data/methods.toml``.
        scale: for an oxidant, the scale of the kit; None for other quantities.
        jets_on, minutes_since_dose: how the sample was taken; None is "don't know".
    """

    quantity: Quantity
    low: float
    high: float
    unit: str
    method: str
    at: datetime
    scale: OxidantScale | None = None
    minutes_since_dose: float | None = None

    @property
    def value(self) -> float:
        """The middle of what was read, or its finite end."""
        if self.low == float("-inf"):
            return self.high
        return self.low if self.high == float("inf") else 0.5 * (self.low + self.high)


@dataclass(frozen=True)
class Tested:
    """Readings taken together; ``jets`` on and ``bathers`` in while they were, None where nobody said; by a ``guest``
    of the tub, whose reading is information and no check of its keeper.
    """

    at: datetime
    readings: tuple[Reading, ...]
    jets: Answer = Answer.UNKNOWN
    bathers: float | None = None
    guest: bool = False


@dataclass(frozen=True)
class Dosed:
    """An addition. ``grams`` of product; ``certain`` False for "not sure whether it went in"."""

    at: datetime
    product: str
    grams: float
    spread: float = 0.1
    certain: bool = True


@dataclass(frozen=True)
class Soaked:
    """People were in."""

    at: datetime
    people: float
    minutes: float


@dataclass(frozen=True)
class Filled:
    """Filled or refilled. ``litres`` metered in, L, or None."""

    at: datetime
    litres: float | None = None


@dataclass(frozen=True)
class Drained:
    """Water was let out and replaced."""

    at: datetime
    litres: float


@dataclass(frozen=True)
class FeederSet:
    """Tablets in the feeder now and how far it is open (0 closed to 1 fully open; None is "don't know")."""

    at: datetime
    product: str
    tablets: float
    opening: float | None = None


@dataclass(frozen=True)
class Noticed:
    """What eye, nose and hand say."""

    at: datetime
    clarity: Clarity = Clarity.UNKNOWN
    signs: frozenset[Sign] = field(default_factory=frozenset)
    lapse_hours: float | None = None  # hours that the sanitizer was or may have been below 2 mg/L
    unlogged_soak: Answer = Answer.NO


@dataclass(frozen=True)
class Cared:
    """A task of care was done; ``task`` is a key in ``facts/data/care.toml``."""

    at: datetime
    task: str


Event = Tested | Dosed | Soaked | Filled | Drained | FeederSet | Noticed | Cared
