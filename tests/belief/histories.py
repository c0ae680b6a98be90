"""Small pasts of invented tubs, what a kit would have read in them, and quantities to compare."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from tubwater.belief import Foretold, Observer, Prior, Products
from tubwater.belief.readings import context_of, kit_name, own_rows
from tubwater.dynamics import Rates, TubState
from tubwater.facts import methods
from tubwater.facts.quantity import OxidantScale, Quantity
from tubwater.measurement import log_likelihood
from tubwater.services import products_of
from tubwater.tub import Dosed, Event, Product, Reading, Sanitizer, Shelf, Soaked, Tub
from tubwater.tub import Tested as Readings

__all__ = ["HISTORIES", "NOW", "PRODUCTS", "TUB", "Past", "compared", "read_by_kit"]

Array = NDArray[np.float64]
NOW = datetime(2026, 3, 4, 9, 0, tzinfo=UTC)
TUB = Tub("cabin", 1300.0, Sanitizer.BROMINE)
SHELF = Shelf(
    (
        Product("dry acid", "sodium-bisulfate", 0.93),
        Product("bicarbonate", "sodium-bicarbonate", 0.99),
        Product("oxidizer", "monopersulfate", 0.88),
    )
)
PRODUCTS: Products = products_of(SHELF)
STRIP = ("strip", "strip", "strip")
KIT = ("fas-dpd-drops", "visual-comparator", "drop-titration")


@dataclass(frozen=True)
class Past:
    """Events in order; the readings among them are to be read anew."""

    name: str
    events: tuple[Event, ...]


def _test(hours: float, bromine: float, ph: float, alkalinity: float | None, kit: tuple[str, str, str]) -> Readings:
    at = NOW - timedelta(hours=hours)
    rows = [
        Reading(Quantity.BROMINE, bromine, bromine, "mg/L", kit[0], at, OxidantScale.AS_BR2),
        Reading(Quantity.PH, ph, ph, "pH", kit[1], at),
    ]
    if alkalinity is not None:
        rows.append(Reading(Quantity.TOTAL_ALKALINITY, alkalinity, alkalinity, "mg/L", kit[2], at))
    return Readings(at, tuple(rows))


def _ago(hours: float) -> datetime:
    return NOW - timedelta(hours=hours)


HISTORIES = (
    Past("one strip", (_test(1.0, 3.0, 7.5, 80.0, STRIP),)),
    Past("one drop kit", (_test(1.0, 4.05, 7.6, 100.0, KIT),)),
    Past("strips around a soak", (_test(26.0, 5.0, 7.5, 80.0, STRIP), Soaked(_ago(14.0), 2.0, 30.0),
                                  _test(1.0, 2.0, 7.5, None, STRIP))),
    Past("a kit around a shock", (_test(27.0, 1.35, 7.4, 90.0, KIT), Dosed(_ago(26.5), "oxidizer", 30.0, 0.1),
                                  _test(1.0, 5.4, 7.4, None, KIT))),
    Past("acid between two strips", (_test(25.0, 3.0, 7.8, 120.0, STRIP), Dosed(_ago(24.5), "dry acid", 40.0, 0.2),
                                     _test(2.0, 2.0, 7.2, 80.0, STRIP))),
)  # fmt: skip


def read_by_kit(past: Past, told: Foretold, member: int, rng: np.random.Generator) -> tuple[Event, ...]:
    """The same past with what the kits show of one foretold member, drawn by the methods' own likelihoods."""
    rows = iter(told.tests)
    events: list[Event] = []
    for event in past.events:
        if isinstance(event, Readings):
            _, values = next(rows)
            offsets = {name: offset[member : member + 1] for name, offset in told.offsets.items()}
            event = replace(event, readings=_readings(event.readings, values[:, member : member + 1], offsets, rng))
        events.append(event)
    return tuple(events)


def _readings(
    readings: Sequence[Reading], rows: Array, offsets: Mapping[str, Array], rng: np.random.Generator
) -> tuple[Reading, ...]:
    found = []
    for reading, truth in zip(readings, own_rows(rows), strict=True):
        context = context_of(rows, offsets[kit_name(reading)])
        shown = [replace(reading, low=float(v), high=float(v)) for v in _scale(reading)]
        chance = np.exp([float(log_likelihood(r, truth, context)[0]) for r in shown])
        found.append(shown[int(rng.choice(len(shown), p=chance / chance.sum()))])
    return tuple(found)


def _scale(reading: Reading) -> Array:
    row = methods()[reading.method].quantities[reading.quantity]
    if row.steps:
        return np.asarray(row.steps)
    return row.low + row.resolution * np.arange(round((row.high - row.low) / row.resolution) + 1)


def compared(prior: Prior, core: Array, rates: Rates, state: TubState) -> dict[str, Array]:
    """Quantities of each member on scales where they are near normal."""
    observer = Observer(state)
    return {
        "bromine": np.sqrt(observer.read(Quantity.BROMINE)),
        "pH": observer.read(Quantity.PH),
        "alkalinity": np.log(np.maximum(observer.read(Quantity.TOTAL_ALKALINITY), 1.0)),  # acid may take all of it
        "volume": np.log(rates.litres),
        "decay": core[prior.names.index("idle_decay_per_day")],
        "demand": core[prior.names.index("bather_demand_g_br2_per_hour")],
    }
