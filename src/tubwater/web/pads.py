"""How one reading is asked for: pads to tap where a kit prints colours, else a stepper with the kit's increment."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from tubwater.reports.text import quantity_unit
from tubwater.reports.units import number
from tubwater.services.kits import Asked
from tubwater.services.tested import LastReading
from tubwater.tub import Quantity
from tubwater.web.forms import Sent, reading_key
from tubwater.web.show import say

__all__ = ["Field", "Pad", "field_of"]

_START = {Quantity.PH: 7.5, Quantity.TOTAL_ALKALINITY: 80.0, Quantity.CALCIUM_HARDNESS: 150.0}
_START |= {Quantity.BROMINE: 4.0, Quantity.FREE_CHLORINE: 3.0, Quantity.TEMPERATURE: 38.0}


@dataclass(frozen=True)
class Pad:
    """One answer: its value in the form, what stands on it, and what it is called where that is not plain."""

    value: str
    text: str
    name: str = ""


@dataclass(frozen=True)
class Field:
    """One quantity of a form.

    Attributes:
        pads: the printed colours; empty for a stepper. between: answers between two pads, in order; before and
            after them "below the lowest" and "above the highest", where there is such a thing.
        step, low, high: of a stepper. start: where its first tap lands. value: what was sent, "" for not tested.
    """

    quantity: Quantity
    name: str
    pads: tuple[Pad, ...]
    between: tuple[Pad, ...]
    below: Pad | None
    above: Pad | None
    step: float
    low: float
    high: float
    start: float
    value: str


def field_of(asked: Asked, last: LastReading | None, sent: Sent | None) -> Field:
    """The field of a quantity; a stepper starts at what was read last."""
    reads, steps = asked.reads, asked.reads.steps
    pads = [Pad(f"{step:g}", number(step)) for step in steps]
    between = [Pad(f"{a:g}:{b:g}", f"{number(a)}–{number(b)}") for a, b in pairwise(steps)]
    name = reading_key(asked.quantity)
    return Field(
        asked.quantity,
        name,
        tuple(pads),
        tuple(between),
        _beyond("<", steps[0]) if steps and steps[0] > 0.0 else None,
        _beyond(">", steps[-1]) if steps and not _is_share(asked.quantity) else None,
        _step(reads.resolution),
        reads.low,
        reads.high,
        _start(asked, last),
        sent.text(name) if sent else "",
    )


def _is_share(quantity: Quantity) -> bool:
    """Of which there is no more than the whole."""
    return quantity_unit(quantity) == "%"


def _beyond(sign: str, step: float) -> Pad:
    name = say("pads.below" if sign == "<" else "pads.above", value=number(step))
    return Pad(f"{sign}{step:g}", sign, name)


def _step(resolution: float) -> float:
    """A hundredth of a pH would be a hundred taps."""
    return 0.05 if resolution < 0.05 else resolution


def _start(asked: Asked, last: LastReading | None) -> float:
    value = _START.get(asked.quantity, asked.reads.low)
    if last is not None and math.isfinite(last.low) and math.isfinite(last.high):
        value = 0.5 * (last.low + last.high)
    step = _step(asked.reads.resolution)
    return min(max(round(value / step) * step, asked.reads.low), asked.reads.high)
