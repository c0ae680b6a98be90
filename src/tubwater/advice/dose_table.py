"""A keeper's own dose table: for each reading that his test can show, what to add to this tub.

Each row takes the believed tubs, puts the reading into their water, and solves for the dose with all side effects; pH,
alkalinity and calcium get 70 % of it, since a retest follows (judgement: 60 to 75 %), and never more than one
addition's cap and the limits of safety allow.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from tubwater.advice.beside import Beside
from tubwater.advice.decide import Kit, kit_of
from tubwater.advice.measures import amount_of, grams_floor, measure_spread, smallest
from tubwater.advice.mixing import mixing_minutes
from tubwater.advice.now import Situation
from tubwater.advice.safety import cap_grams, largest_allowed
from tubwater.belief import Observer
from tubwater.chemistry import INDEX, MG_PER_EQ_CACO3, MG_PER_MOL, Water, kg_water_per_litre, water_at_ph
from tubwater.dynamics import TubState
from tubwater.facts import Limits, methods
from tubwater.facts.quantity import Quantity
from tubwater.tub import Amount, Product, Sanitizer

__all__ = ["Does", "DoseRow", "dose_table"]

Array = NDArray[np.float64]
_SHARE = 0.7  # of the solved dose where a retest follows (judgement)
_MEMBERS = 256
_TAIL = 0.05
_MOST_PER_LITRE = 0.2  # g of a product without a cap (judgement)
_STEPS = {  # readings of a table where a method has no colours of its own (judgement)
    Quantity.BROMINE: (1.0, 2.0, 3.0, 4.0, 8.0, 12.0),
    Quantity.FREE_CHLORINE: (0.5, 1.0, 2.0, 3.0, 4.0, 8.0, 12.0),
    Quantity.PH: (6.8, 7.0, 7.1, 7.9, 8.0, 8.2),
    Quantity.TOTAL_ALKALINITY: (20.0, 40.0, 50.0, 140.0, 180.0),
    Quantity.CALCIUM_HARDNESS: (25.0, 50.0, 75.0, 300.0),
}


class Does(StrEnum):
    """What a row of the table says."""

    ADD = "add"
    LEAVE = "leave"  # no measurable dose is right; leave it alone
    CLOSE_FEEDER = "close feeder"  # too much sanitizer: feeder closed, cover open, wait
    ASK = "ask"  # more than one addition: ask for a plan
    BUY = "buy"  # no product in hand does it
    DILUTE = "dilute"  # only fresh water takes it out


@dataclass(frozen=True)
class DoseRow:
    """What to do at a reading.

    Attributes:
        low, high: the readings it is for, in the unit of the quantity; -inf or +inf at the open ends.
        keep_out: nobody gets in at this reading. amount: for ADD. minutes: wait after it before the next thing.
    """

    quantity: Quantity
    low: float
    high: float
    does: Does
    keep_out: bool
    amount: Amount | None = None
    minutes: float = 0.0


def dose_table(case: Situation) -> tuple[DoseRow, ...]:
    """Rows in the order in which things are added: alkalinity, pH, calcium, sanitizer; readings upwards."""
    table = _Table(case)
    quantities = (Quantity.TOTAL_ALKALINITY, Quantity.PH, Quantity.CALCIUM_HARDNESS, case.sanitizer_quantity)
    return tuple(row for quantity in quantities for row in _merged(table.rows(quantity), case.limits(quantity).aim_low))


def _merged(rows: Iterator[DoseRow], aim_low: float) -> list[DoseRow]:
    """Neighbours that say the same become one row, but for those on either side of the aim."""
    found: list[DoseRow] = []
    for row in rows:
        last = found[-1] if found else None
        one_side = last is not None and (last.high < aim_low) == (row.low < aim_low)
        if last and one_side and replace(row, low=last.low, high=last.high) == last:
            found[-1] = replace(last, high=row.high)
        else:
            found.append(row)
    return found


class _Table:
    """Solves rows for one tub."""

    def __init__(self, case: Situation) -> None:
        self.case, self.kit = case, kit_of(case)
        self.beside = Beside(case, members=_MEMBERS)
        self.base = self.beside.state
        self.litres = float(np.median(case.rates.litres))

    def rows(self, quantity: Quantity) -> Iterator[DoseRow]:
        """The rows of a quantity for readings outside what is wanted, and below the goal for the sanitizer."""
        limits = self.case.limits(quantity)
        for value in self._readings(quantity):
            out = value < limits.bathing_low or value > limits.bathing_high
            row = DoseRow(quantity, value, value, Does.LEAVE, out)
            if quantity is self.case.sanitizer_quantity:
                yield self._sanitizer(row, limits)
            elif not limits.aim_low <= value <= limits.aim_high:
                yield self._water(row, limits)

    def _readings(self, quantity: Quantity) -> tuple[float, ...]:
        """What the keeper's own method can show; nothing for a quantity that he does not read."""
        read = self.case.readings(quantity)
        found = methods()[read[0].method if read else "strip"].quantities.get(quantity)
        return (found.steps or _STEPS[quantity]) if found else ()

    def _sanitizer(self, row: DoseRow, limits: Limits) -> DoseRow:
        if row.low > limits.aim_high:
            return replace(row, does=Does.CLOSE_FEEDER)
        if row.low < limits.keep_out_low:
            return replace(row, does=Does.ASK)
        goal = 0.25 * limits.aim_low + 0.75 * limits.aim_high  # the middle of the upper half
        if self.kit.oxidizer is None or row.low >= goal:
            return replace(row, does=Does.LEAVE if row.low >= goal else Does.BUY)
        return self._added(row, self.kit.oxidizer, self._with_sanitizer(row.low), goal, 1.0)

    def _water(self, row: DoseRow, limits: Limits) -> DoseRow:
        """Alkalinity, pH or calcium outside what is wanted."""
        product = self._product(row.quantity, low=row.low < limits.aim_low)
        if row.low > limits.aim_high and row.quantity is not Quantity.PH:
            return replace(row, does=Does.DILUTE if row.quantity is Quantity.CALCIUM_HARDNESS else Does.ASK)
        if product is None:
            return replace(row, does=Does.BUY)
        goal = 0.5 * (limits.aim_low + limits.aim_high)
        return self._added(row, product, self._as_if(row.quantity, row.low), goal, _SHARE)

    def _product(self, quantity: Quantity, low: bool) -> Product | None:
        kit: Kit = self.kit
        wanted = {
            Quantity.TOTAL_ALKALINITY: kit.bicarbonate,
            Quantity.PH: kit.soda_ash if low else kit.acid,
            Quantity.CALCIUM_HARDNESS: kit.calcium,
        }
        return wanted[quantity]

    def _added(self, row: DoseRow, product: Product, state: TubState, goal: float, share: float) -> DoseRow:
        """The row with the largest measurable dose that goes ``share`` of the way and is allowed."""
        self.beside.state = state
        grams = share * self._solved(product, row.quantity, goal)
        composition = self.case.products.compositions[product.name]
        high = self.case.limits(self.case.sanitizer_quantity).bathing_high
        grams = largest_allowed(self.beside, product, composition, grams, self.litres, high)
        while grams > 0.0 and not self._stays(product, grams):
            grams = grams_floor(product, grams - smallest(product))
        if grams <= 0.0:
            return row
        minutes = mixing_minutes(self.case.tub, product)
        if product.substance == "monopersulfate":
            minutes = self.case.monopersulfate_minutes
        return replace(row, does=Does.ADD, amount=amount_of(product, grams, down=True), minutes=minutes)

    def _solved(self, product: Product, quantity: Quantity, goal: float) -> float:
        """Grams that bring the median to the goal, at most one addition's cap (bisection)."""
        composition = self.case.products.compositions[product.name]
        rising = goal > self._read(self.beside.state, quantity)
        low, high = 0.0, min(cap_grams(product, self.litres), _MOST_PER_LITRE * self.litres)
        for _ in range(12):
            middle = 0.5 * (low + high)
            short = (self._read(self.beside.dosed(composition, middle, 0.0), quantity) < goal) is rising
            low, high = (middle, high) if short else (low, middle)
        return low

    def _stays(self, product: Product, grams: float) -> bool:
        """Whether 95 of 100 stay inside the bathing limits of pH and sanitizer, or where they were."""
        after = self.beside.dosed(self.case.products.compositions[product.name], grams, measure_spread(product))
        return all(self._inside(after, quantity) for quantity in (Quantity.PH, self.case.sanitizer_quantity))

    def _inside(self, after: TubState, quantity: Quantity) -> bool:
        limits, tails = self.case.limits(quantity), (_TAIL, 1.0 - _TAIL)
        low, high = np.quantile(self._values(after, quantity), tails)
        low_before, high_before = np.quantile(self._values(self.beside.state, quantity), tails)
        falls = low < limits.bathing_low and low < low_before - 1e-3
        rises = high > limits.bathing_high and high > high_before + 1e-3
        return not (falls or rises)

    def _values(self, state: TubState, quantity: Quantity) -> Array:
        """What a test will read once all oxidizer has reacted."""
        observer = Observer(state)
        value = observer.read(quantity)
        if quantity is not self.case.sanitizer_quantity:
            return value
        scale = 1.0 if quantity is Quantity.BROMINE else MG_PER_MOL["free chlorine"] / MG_PER_MOL["bromine"]
        return value + scale * observer.monopersulfate

    def _read(self, state: TubState, quantity: Quantity) -> float:
        return float(np.median(self._values(state, quantity)))

    def _as_if(self, quantity: Quantity, value: float) -> TubState:
        """The believed tubs with a reading put into their water; alkalinity is put right before pH."""
        water = self.base.water
        if quantity is Quantity.CALCIUM_HARDNESS:
            wanted = value * 1e-3 / MG_PER_MOL["calcium hardness"] / kg_water_per_litre(water)
            more = wanted - water.calcium
            return self._state(water.plus(calcium=more, chloride=2.0 * more))
        aim = self.case.limits(Quantity.TOTAL_ALKALINITY)
        present = water.alkalinity * MG_PER_EQ_CACO3 * 1e3 * kg_water_per_litre(water)
        mg = np.clip(present, aim.aim_low, aim.aim_high) if quantity is Quantity.PH else np.full(present.shape, value)
        ph = value if quantity is Quantity.PH else np.clip(self.base.ph, 7.2, 7.8)
        alkalinity = mg * 1e-3 / MG_PER_EQ_CACO3 / kg_water_per_litre(water)
        return self._state(water_at_ph(water, ph, alkalinity))

    def _with_sanitizer(self, mg: float) -> TubState:
        bromine = self.case.tub.sanitizer is Sanitizer.BROMINE
        scale = MG_PER_MOL["bromine" if bromine else "free chlorine"]
        totals = self.base.water.totals.copy()
        totals[INDEX["bromine"]] = totals[INDEX["chlorine"]] = totals[INDEX["monopersulfate"]] = 0.0
        active = mg * 1e-3 / scale / kg_water_per_litre(self.base.water)
        totals[INDEX["bromine" if bromine else "chlorine"]] = active
        return self._state(Water(self.base.water.temperature, totals))

    def _state(self, water: Water) -> TubState:
        state = replace(self.base, water=water)
        return replace(state, ph=Observer(state).solved.ph)
