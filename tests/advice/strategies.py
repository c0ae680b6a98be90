"""Wide random tubs, waters, shelves, logbooks and wishes: one generator for every rule."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import numpy as np
from hypothesis import strategies as st

from tubwater.advice import Occasion
from tubwater.facts import Form, Role, guidelines, methods, substances
from tubwater.facts.quantity import OxidantScale, Quantity
from tubwater.tub import (
    Answer,
    Clarity,
    Dosed,
    Drained,
    Equipment,
    Event,
    FeederSet,
    Filled,
    FillWater,
    Measure,
    MeasureKind,
    Noticed,
    Product,
    Reading,
    Sanitizer,
    Setting,
    Shelf,
    Sign,
    Soaked,
    Tub,
    TubKind,
    VolumeBasis,
    equipment_of,
)
from tubwater.tub import Tested as Readings

__all__ = ["ASKINGS", "NOW", "Drawn", "cases"]

ASKINGS = 3  # of one logbook
NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
CL2_PER_BR2 = 70.906 / 159.808  # atomic weights
USUAL = ("sodium-bisulfate", "sodium-bicarbonate", "sodium-carbonate", "monopersulfate", "bcdmh", "calcium-chloride")
USUAL_CHLORINE = ("hydrochloric-acid", "sodium-bicarbonate", "sodium-carbonate", "sodium-hypochlorite")
GUIDELINE = {Setting.HOME: "household", Setting.LET: "uk-business", Setting.PUBLIC: "us-public"}
SOLID = (MeasureKind.SCOOP, MeasureKind.SPOON, MeasureKind.SCALE)
LIQUID = (MeasureKind.CAP, MeasureKind.JUG)
COLOUR = ("strip", "visual-comparator", "photometer", "photometer")


@dataclass(frozen=True)
class Drawn:
    """What a keeper has, saw and did, and what he asks for.

    Attributes:
        minutes, days: of the visit, min, and until the next one, d. guests_in: hours until people want to get in.
        seed: of the belief. ask: which asking of one logbook this is.
    """

    tub: Tub
    shelf: Shelf
    events: tuple[Event, ...]
    minutes: float | None
    days: float
    guests_in: float | None
    occasion: Occasion
    seed: int
    ask: int


def mostly(usual: st.SearchStrategy, rare: st.SearchStrategy, share: int = 4) -> st.SearchStrategy:
    """``usual`` in ``share`` of ``share + 1`` draws."""
    return st.integers(0, share).flatmap(lambda n: usual if n else rare)


@st.composite
def tubs(draw: st.DrawFn) -> Tub:
    kind = draw(st.sampled_from(list(TubKind)))
    setting = draw(mostly(st.just(Setting.HOME), st.sampled_from(list(Setting))))
    pump = draw(st.booleans())
    equipment = draw(
        mostly(st.just(equipment_of(kind)), st.just(Equipment(pump, pump, draw(st.booleans()), ozone_or_uv=pump)))
    )
    return Tub(
        "any",
        draw(mostly(st.floats(700.0, 2500.0), st.floats(300.0, 10_000.0))),
        draw(st.sampled_from([Sanitizer.BROMINE, Sanitizer.BROMINE, Sanitizer.CHLORINE])),
        draw(st.sampled_from(list(VolumeBasis))),
        kind,
        equipment,
        setting,
        draw(mostly(st.sampled_from([35.0, 37.0, 38.0, 40.0]), st.floats(10.0, 42.0))),
        draw(mostly(st.just(GUIDELINE[setting]), st.sampled_from(list(guidelines())))),
        draw(fills()),
        draw(st.none() | st.floats(0.0, 14.0)),
        draw(st.none() | st.floats(1.0, 6.0)),
        draw(st.none() | st.floats(5.0, 60.0)),
    )


@st.composite
def fills(draw: st.DrawFn) -> FillWater:
    if draw(st.booleans()):
        return FillWater()
    rows = {
        Quantity.TOTAL_ALKALINITY: draw(st.floats(5.0, 350.0)),
        Quantity.PH: draw(st.floats(6.3, 9.2)),
        Quantity.CALCIUM_HARDNESS: draw(st.floats(2.0, 600.0)),
    }
    return FillWater(rows, "utility report")


@st.composite
def shelves(draw: st.DrawFn, sanitizer: Sanitizer) -> Shelf:
    usual = USUAL if sanitizer is Sanitizer.BROMINE else USUAL_CHLORINE
    full = draw(mostly(st.just(usual), st.just(()), 3))
    extra = draw(st.lists(st.sampled_from(sorted(substances())), unique=True, max_size=3))
    keys = draw(st.permutations(list(dict.fromkeys([*full, *extra]))))
    return Shelf(tuple(draw(products(key)) for key in keys))


@st.composite
def products(draw: st.DrawFn, key: str) -> Product:
    found = substances()[key]
    low, typical, high = found.strength
    strength = draw(mostly(st.just(typical), st.sampled_from([low, min(high, 1.0)]), 2))
    if found.form is Form.TABLET:
        return Product(key, key, strength, tablet_grams=draw(st.sampled_from([20.0, 20.0, 7.0, 200.0])))
    kind = draw(st.sampled_from(LIQUID if found.form is Form.LIQUID else SOLID))
    grams = draw(st.sampled_from([2.0, 5.0, 10.0, 30.0, 100.0])) if kind is not MeasureKind.SCALE else 1.0
    step = draw(st.sampled_from([0.25, 0.5, 1.0])) if kind is not MeasureKind.SCALE else 1.0
    spread = draw(st.sampled_from([0.05, 0.2])) if kind is not MeasureKind.SCALE else 0.02
    return Product(key, key, strength, (Measure(kind, grams, spread, step),))


def snapped(value: float, method: str, quantity: Quantity) -> float:
    """The nearest value that the kit can show."""
    row = methods()[method].quantities[quantity]
    if row.steps:
        return min(row.steps, key=lambda step: abs(step - value))
    return float(np.clip(round(value / row.resolution) * row.resolution, row.low, row.high))


@dataclass(frozen=True)
class Truth:
    """What the water is when it is tested: sanitizer on the tub's own scale, pH, alkalinity, calcium hardness."""

    active: float
    ph: float
    alkalinity: float
    calcium: float


def truths() -> st.SearchStrategy[Truth]:
    """Mostly a water that somebody keeps, else anything."""
    kept = st.builds(Truth, tenths(30, 75), tenths(72, 78), tenths(600, 1400), tenths(600, 3000))
    any_water = st.builds(Truth, tenths(0, 150), tenths(66, 84), tenths(200, 2600), tenths(50, 7000))
    return st.sampled_from([kept, kept, kept, any_water]).flatmap(lambda found: found)


def tenths(low: int, high: int) -> st.SearchStrategy[float]:
    """Tenths from ``low`` to ``high`` of them, all alike."""
    return st.integers(low, high).map(lambda n: n / 10.0)


@st.composite
def oxidants(draw: st.DrawFn, tub: Tub, at: datetime, value: float) -> Reading:
    """The tub's own sanitizer, now and then on the other scale, or between two colours."""
    bromine = tub.sanitizer is Sanitizer.BROMINE
    quantity = Quantity.BROMINE if bromine else Quantity.FREE_CHLORINE
    method = draw(st.sampled_from([*COLOUR, "fas-dpd-drops"]))
    scale = OxidantScale.AS_BR2 if bromine else OxidantScale.AS_CL2
    if bromine and draw(st.integers(0, 7)) == 0:
        scale, shown = OxidantScale.AS_CL2, snapped(value * CL2_PER_BR2, method, Quantity.FREE_CHLORINE)
    else:
        shown = snapped(value, method, quantity)
    return draw(steps_of(Reading(quantity, shown, shown, "mg/L", method, at, scale)))


@st.composite
def steps_of(draw: st.DrawFn, reading: Reading) -> Reading:
    """The same reading, or one between two printed colours."""
    other = reading.quantity is Quantity.BROMINE and reading.scale is OxidantScale.AS_CL2
    steps = methods()[reading.method].quantities[Quantity.FREE_CHLORINE if other else reading.quantity].steps
    if not steps or draw(st.integers(0, 4)):
        return reading
    above = [step for step in steps if step > reading.high]
    high = above[0] if above else float("inf")
    return Reading(reading.quantity, reading.low, high, reading.unit, reading.method, reading.at, reading.scale)


@st.composite
def tests(draw: st.DrawFn, tub: Tub, at: datetime, truth: Truth) -> Readings:
    """Readings of one test; now and then one that has nothing to do with the water."""
    wild = draw(truths()) if draw(st.integers(0, 15)) == 0 else truth
    rows = [draw(oxidants(tub, at, truth.active))] if draw(st.integers(0, 15)) else []
    if draw(st.integers(0, 15)):
        method = draw(st.sampled_from([*COLOUR, "electrode"]))
        shown = snapped(wild.ph, method, Quantity.PH)
        rows.append(draw(steps_of(Reading(Quantity.PH, shown, shown, "pH", method, at))))
    if draw(st.integers(0, 2)):
        method = draw(st.sampled_from(["strip", "drop-titration"]))
        shown = snapped(truth.alkalinity, method, Quantity.TOTAL_ALKALINITY)
        rows.append(Reading(Quantity.TOTAL_ALKALINITY, shown, shown, "mg/L", method, at))
    if draw(st.integers(0, 3)) == 0:
        shown = snapped(truth.calcium, "drop-titration", Quantity.CALCIUM_HARDNESS)
        rows.append(Reading(Quantity.CALCIUM_HARDNESS, shown, shown, "mg/L", "drop-titration", at))
    if draw(st.integers(0, 7)) == 0:
        degrees = round(tub.temperature) + draw(st.sampled_from([0.0, 0.0, 0.5, -0.5, 1.0, 4.0, -9.0]))
        rows.append(Reading(Quantity.TEMPERATURE, degrees, degrees, "°C", "thermometer", at))
    return Readings(at, tuple(rows))


@st.composite
def looks(draw: st.DrawFn, at: datetime) -> Noticed:
    """Mostly a clear tub; otherwise anything."""
    if draw(st.integers(0, 4)):
        return Noticed(at, Clarity.CLEAR)
    return Noticed(
        at,
        draw(mostly(st.just(Clarity.CLEAR), st.sampled_from(list(Clarity)), 2)),
        draw(mostly(st.just(frozenset()), st.frozensets(st.sampled_from(list(Sign)), max_size=2), 1)),
        draw(mostly(st.none(), st.sampled_from([3.0, 30.0, 200.0]), 1)),
        draw(mostly(st.just(Answer.NO), st.sampled_from(list(Answer)), 2)),
    )


@st.composite
def doses(draw: st.DrawFn, tub: Tub, shelf: Shelf) -> list[Event]:
    """Additions before now, careless ones among them, and a feeder."""
    pots = [p for p in shelf.products if substances()[p.substance].form is not Form.TABLET]
    found: list[Event] = []
    for _ in range(draw(st.integers(0, 2)) if pots else 0):
        pot = draw(st.sampled_from(pots))
        ago = timedelta(minutes=draw(st.sampled_from([5.0, 19.0, 21.0, 45.0, 90.0, 300.0, 1500.0])))
        grams = draw(st.sampled_from([3.0, 10.0, 30.0, 100.0])) * tub.litres / 1300.0
        found.append(Dosed(NOW - ago, pot.name, grams, certain=bool(draw(st.integers(0, 5)))))
    slow = [p for p in shelf.products if substances()[p.substance].roles & {Role.SLOW_BROMINE, Role.SLOW_CHLORINE}]
    if slow and draw(st.booleans()):
        at = NOW - timedelta(hours=draw(st.sampled_from([1.0, 30.0])))
        opening = draw(st.none() | st.floats(0.0, 1.0))
        found.append(FeederSet(at, draw(st.sampled_from(slow)).name, draw(st.integers(0, 6)), opening))
    return found


@st.composite
def logbooks(draw: st.DrawFn, tub: Tub, shelf: Shelf) -> tuple[Event, ...]:
    hours = draw(st.sampled_from([0.0, 0.0, 0.0, 0.0, 0.1, 1.0, 1.0, 1.0, 6.0, 20.0, 26.0, 75.0]))
    truth, rare = draw(truths()), draw(st.sets(st.integers(0, 11), max_size=4))
    events: list[Event] = [] if 0 in rare else [draw(tests(tub, NOW - timedelta(hours=hours), truth))]
    if rare & {1, 2}:
        before = NOW - timedelta(hours=hours + draw(st.sampled_from([0.5, 13.0, 13.0, 30.0])))
        events.append(draw(tests(tub, before, replace(truth, active=draw(truths()).active))))
    if 3 not in rare:
        events.append(draw(looks(NOW - timedelta(hours=draw(st.sampled_from([0.0, 0.0, 2.0]))))))
    if 4 in rare:
        events.append(draw(looks(NOW - timedelta(hours=draw(st.sampled_from([5.0, 29.0]))))))
    if rare & {5, 6}:
        ago = timedelta(hours=draw(st.sampled_from([0.5, 2.0, 12.0])))
        events.append(Soaked(NOW - ago, draw(st.integers(1, 5)), draw(st.sampled_from([15.0, 30.0, 90.0]))))
    if 7 in rare:
        events.append(Drained(NOW - timedelta(hours=draw(st.sampled_from([3.0, 30.0]))), 0.3 * tub.litres))
    if 8 in rare:
        events.append(Filled(NOW - timedelta(hours=draw(st.sampled_from([1.0, 30.0, 30.0, 200.0]))), tub.litres))
    return tuple([*events, *(draw(doses(tub, shelf)) if rare & {9, 10, 11} else ())])


@st.composite
def nearly_fit(draw: st.DrawFn, tub: Tub, shelf: Shelf) -> tuple[Event, ...]:
    """A good test and a clear tub, mostly with one thing that stands in the way: the edge that the rules guard."""
    at = NOW - timedelta(hours=draw(st.sampled_from([0.0, 0.2, 1.0, 1.0, 4.0, 23.0, 25.0])))
    bromine = tub.sanitizer is Sanitizer.BROMINE
    quantity = Quantity.BROMINE if bromine else Quantity.FREE_CHLORINE
    method = draw(st.sampled_from(["photometer", "fas-dpd-drops"]))
    active = snapped(draw(tenths(42, 70)), method, quantity)
    ph_method = draw(st.sampled_from(["photometer", "electrode", "visual-comparator"]))
    ph = snapped(draw(tenths(72, 78)), ph_method, Quantity.PH)
    scale = OxidantScale.AS_BR2 if bromine else OxidantScale.AS_CL2
    rows = (
        Reading(quantity, active, active, "mg/L", method, at, scale),
        Reading(Quantity.PH, ph, ph, "pH", ph_method, at),
    )
    events: list[Event] = [Readings(at, rows)]
    events.append(draw(looks(NOW)))
    kind = draw(st.integers(0, 9))
    if kind in (1, 2):
        events += draw(doses(tub, shelf))
    if kind == 3:
        events.append(draw(looks(NOW - timedelta(hours=draw(st.sampled_from([2.0, 5.0, 29.0]))))))
    if kind in (4, 5):
        ago = timedelta(hours=draw(st.sampled_from([0.5, 2.0, 12.0])))
        events.append(Soaked(NOW - ago, draw(st.integers(1, 5)), draw(st.sampled_from([15.0, 30.0, 90.0]))))
    if kind == 6:
        before = at - timedelta(hours=draw(st.sampled_from([0.5, 13.0, 30.0])))
        events.append(draw(tests(tub, before, draw(truths()))))
    return tuple(events)


@st.composite
def cases(draw: st.DrawFn) -> tuple[Drawn, ...]:
    """A tub with its logbook, asked three times: other looks, other wishes, another plan."""
    tub = draw(tubs())
    shelf = draw(shelves(tub.sanitizer))
    events = draw(logbooks(tub, shelf) | nearly_fit(tub, shelf))
    seed = draw(st.integers(0, 2**16))
    first = draw(askings(Drawn(tub, shelf, events, None, 1.0, None, Occasion.USUAL, seed, 0)))
    bare = tuple(e for e in events if not isinstance(e, Noticed))
    others = [draw(askings(replace(first, events=(*bare, draw(looks(NOW))), ask=n))) for n in range(1, ASKINGS)]
    return (first, *others)


@st.composite
def askings(draw: st.DrawFn, case: Drawn) -> Drawn:
    """The same logbook with drawn wishes."""
    return replace(
        case,
        minutes=draw(mostly(st.none(), st.sampled_from([10.0, 25.0, 60.0, 120.0]), 2)),
        days=draw(st.sampled_from([1.0] * 7 + [2.0])),
        guests_in=draw(mostly(st.none(), st.sampled_from([0.5, 4.0, 24.0]), 3)),
        occasion=draw(st.sampled_from([Occasion.USUAL] * 14 + [Occasion.FRESH_WATER, Occasion.UNKNOWN_HISTORY])),
    )
