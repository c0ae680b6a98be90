"""The situation that advice is given in: a tub, what is believed of it, and what was just seen and done."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from tubwater.advice.lapse import Lapse, read_lapse, told_lapse
from tubwater.advice.mixing import mixing_minutes, reaction_minutes
from tubwater.advice.senses import told_of, worst_of
from tubwater.belief import Belief, Observer, Products
from tubwater.chemistry import INDEX, KG_PER_LITRE, MG_PER_MOL, FrozenBuffer, freeze
from tubwater.dynamics import Rates, TubState
from tubwater.facts import Guideline, Limits, Role, Substance, defaults, interferences, substances
from tubwater.facts.quantity import Quantity
from tubwater.measurement import standard_value, suffers
from tubwater.tub import (
    Answer,
    Clarity,
    Dosed,
    Drained,
    Event,
    FeederSet,
    Filled,
    Noticed,
    Product,
    Reading,
    Reason,
    Sanitizer,
    Shelf,
    Sign,
    Soaked,
    Tested,
    Tub,
)

__all__ = [
    "Situation",
    "others",
    "substance_of",
]

Array = NDArray[np.float64]
_DYE = "phenol-red-high-halogen"
_BLEACHING_HOURS = 6.0  # a zero this soon after a big dose is bleached colour (judgement)
_NOTHING = 0.3  # of the limit: a reading below that is next to nothing (judgement)
_WHOLE = 0.9  # of the water out is all of it (judgement)
_NEEDS_WATER = (Filled, Tested, Dosed, Soaked, FeederSet)


def substance_of(product: Product) -> Substance:
    """The substance of a product."""
    return substances()[product.substance]


@dataclass(frozen=True, eq=False)
class Situation:
    """Everything advice looks at. Times are aware datetimes.

    Attributes:
        belief: at ``now``. guideline: the limits in force. answers are those of the newest ``Noticed``.
        held: why a visit that is under way keeps people out, or None.
    """

    tub: Tub
    shelf: Shelf
    belief: Belief
    guideline: Guideline
    now: datetime
    held: Reason | None = None

    @property
    def state(self) -> TubState:
        """The tub now."""
        return self.belief.state

    @property
    def rates(self) -> Rates:
        """The tub's rates."""
        return self.belief.rates

    @property
    def products(self) -> Products:
        """Compositions of the products in hand."""
        return self.belief.products

    @property
    def suspects(self) -> tuple[str, ...]:
        """Quantities whose readings do not fit together."""
        return self.belief.suspects

    @cached_property
    def buffer(self) -> FrozenBuffer:
        """The frozen buffering of the present water."""
        return freeze(self.state.water)

    @cached_property
    def observer(self) -> Observer:
        """Reads the present water."""
        return Observer(self.state)

    @property
    def sanitizer_quantity(self) -> Quantity:
        """The tub's own sanitizer."""
        bromine = self.tub.sanitizer is Sanitizer.BROMINE
        return Quantity.BROMINE if bromine else Quantity.FREE_CHLORINE

    @property
    def grams_per_mol(self) -> float:
        """What a mol of halogen reads on the tub's own scale, g: as Br2 or as Cl2."""
        return MG_PER_MOL[str(self.sanitizer_quantity)]

    def limits(self, quantity: Quantity) -> Limits:
        """The guideline's limits of a quantity."""
        return self.guideline.limits[quantity]

    def sanitizer_of(self, state: TubState) -> Array:
        """The sanitizer of a state on the tub's own scale, mg/L."""
        return Observer(state).read(self.sanitizer_quantity)

    def owed(self, state: TubState, ripe: Array | float = 1.0) -> Array:
        """What people left in the water and still takes sanitizer, mg/L on the tub's own scale.

        ``ripe``: share of what takes it slowly that counts.
        """
        water = state.water
        found: Array = (water.reductant + water.demand * ripe) * self.grams_per_mol * 1000.0 * KG_PER_LITRE
        return found

    def probability(self, quantity: Quantity) -> float:
        """Probability that a quantity is inside its bathing limits."""
        value, limits = self.observer.read(quantity), self.limits(quantity)
        low = value >= limits.bathing_low
        return float(np.mean(low & (value <= limits.bathing_high)))

    @property
    def noticed(self) -> Noticed:
        """The newest look at the tub; before any look nothing is known."""
        looks = [e for e in self.belief.events if isinstance(e, Noticed) and e.at <= self.now]
        last = max((e.at for e in looks), default=self.now)
        return worst_of([e for e in looks if e.at == last]) if looks else Noticed(self.now)

    @cached_property
    def filled_at(self) -> datetime | None:
        """When all of the water was last let out or filled in; nothing before it says anything of this water."""
        return max((e.at for e in self._past if isinstance(e, Filled) or self._empties(e)), default=None)

    @cached_property
    def empty(self) -> bool:
        """All water was let out, and since then nothing happened that needs water."""
        out = max((e.at for e in self._past if self._empties(e)), default=None)
        return out is not None and not any(isinstance(e, _NEEDS_WATER) and e.at >= out for e in self._past)

    @property
    def _past(self) -> list[Event]:
        return [e for e in self.belief.events if e.at <= self.now]

    def changes_since(self, at: datetime) -> tuple[int, int]:
        """How often all of the water was let out, and how often it was filled in, since a time."""
        later = [e for e in self._past if e.at >= at]
        return sum(self._empties(e) for e in later), sum(isinstance(e, Filled) for e in later)

    def _empties(self, event: Event) -> bool:
        return isinstance(event, Drained) and event.litres >= _WHOLE * self.tub.litres

    def _before_this_water(self, at: datetime) -> bool:
        return self.filled_at is not None and at < self.filled_at

    @property
    def clarity(self) -> Clarity:
        """Whether the drain was seen sharply."""
        return self.noticed.clarity

    @property
    def signs(self) -> frozenset[Sign]:
        """Signs that keep people out; a purple colour only spoils the pH reading."""
        return self.noticed.signs - {Sign.PURPLE_INDICATOR}

    @property
    def unlogged_soak(self) -> Answer:
        """Whether somebody was in without a note."""
        return self.noticed.unlogged_soak

    @cached_property
    def lapse(self) -> Lapse | None:
        """The newest lapse: as it was told, or as the readings show it."""
        told = self._told_lapse
        if told is not None and told.lapse_hours is not None:
            return told_lapse(told.at, told.lapse_hours)
        limit, low = self.limits(self.sanitizer_quantity).keep_out_low, self._low_readings
        good = [r.at for r in self.readings(self.sanitizer_quantity) if min(self.standard(r)) >= limit]
        none = [] if self._feeds else [r.at for r in low if self.middle(r) < _NOTHING * limit]
        recipes = self.products.compositions
        fed = [d.at for d in self.doses() if d.product not in recipes or recipes[d.product].oxidant > 0.0]
        return read_lapse([r.at for r in low], none, good, fed)

    @property
    def _feeds(self) -> bool:
        """Whether tablets were ever put in: some may still be there."""
        return any(isinstance(e, FeederSet) and e.tablets > 0.0 for e in self._past)

    @property
    def lapse_hours(self) -> float | None:
        """Hours of the lapse, None where there is none or nobody knows."""
        return self.lapse.hours if self.lapse else None

    @property
    def _told_lapse(self) -> Noticed | None:
        looks = [e for e in self._past if isinstance(e, Noticed) and not self._before_this_water(e.at)]
        told = [e for e in looks if e.lapse_hours is not None]
        newest = max(told, key=lambda e: e.at) if told else None
        low = self._low_readings
        older = newest is not None and bool(low) and low[0].at - newest.at > timedelta(hours=1)
        return None if older and newest is not None and not (newest.lapse_hours or 0.0) else newest

    @property
    def _low_readings(self) -> list[Reading]:
        """Readings of the sanitizer whose middle is below the limit, newest first; bleached ones are not low."""
        floor = self.limits(self.sanitizer_quantity).keep_out_low
        read = [r for r in self.readings(self.sanitizer_quantity) if not self._before_this_water(r.at)]
        return [r for r in read if self.middle(r) < floor and not self._bleached(r)]

    @cached_property
    def good_since_lapse(self) -> tuple[datetime, ...]:
        """When the sanitizer read well since the lapse; empty where there was none."""
        since = self.lapse.since if self.lapse else self.now
        floor = self.limits(self.sanitizer_quantity).bathing_low
        read = [r for r in self.readings(self.sanitizer_quantity) if r.at > since and min(self.standard(r)) > floor]
        return tuple(r.at for r in read if not self._in_window(r.at))

    @cached_property
    def lapse_closed(self) -> bool:
        """Two good sanitizer readings at least twelve hours apart since the lapse."""
        good, apart = self.good_since_lapse, timedelta(hours=defaults()["two_readings_hours"].value)
        return bool(good) and max(good) - min(good) >= apart

    @property
    def warmest(self) -> float:
        """The set temperature or the newest reading, whichever is higher, degC."""
        read = self.readings(Quantity.TEMPERATURE)
        return max([self.tub.temperature, *(r.value for r in read[:1])])

    @cached_property
    def litres_low(self) -> float:
        """The volume that 95 of 100 believe is exceeded, L."""
        return float(np.quantile(self.rates.litres, 0.05))

    @property
    def most_people(self) -> int:
        """How many may be in at a time by the guideline."""
        return int(self.litres_low // self.guideline.litres_per_bather)

    @property
    def most_test_age(self) -> float:
        """Hours that a reading stays fresh."""
        return self.guideline.max_test_age_hours

    def readings(self, quantity: Quantity) -> list[Reading]:
        """Readings of a quantity up to now, newest first."""
        found = [
            r
            for e in self.belief.events
            if isinstance(e, Tested) and e.at <= self.now
            for r in e.readings
            if r.quantity is quantity
        ]
        return sorted(found, key=lambda r: r.at, reverse=True)

    def last_valid(self, quantity: Quantity) -> Reading | None:
        """The newest reading, or None where it counts for nothing: spoiled, suspect, or inside a window."""
        found = self.readings(quantity)
        if not found or self._before_this_water(found[0].at) or (str(quantity) in self.suspects):
            return None
        newest = found[0]
        if quantity is Quantity.PH and self.colour_misleads(newest):
            return None
        return None if quantity is self.sanitizer_quantity and self.spoiled_by_a_dose(newest) else newest

    def of_this_water(self, reading: Reading) -> bool:
        """Whether a reading was taken since the water was last changed."""
        return not self._before_this_water(reading.at)

    def spoiled_by_a_dose(self, reading: Reading) -> str:
        """The kind of what a dose did to a reading of the sanitizer, or empty."""
        if self._in_window(reading.at):
            return "reading-in-window"
        return "reading-bleached" if self._bleached(reading) else ""

    def newest_pair(self) -> tuple[Reading, Reading]:
        """The valid readings of sanitizer and pH; only for a case that has both."""
        pair = (self.last_valid(self.sanitizer_quantity), self.last_valid(Quantity.PH))
        assert pair[0] is not None and pair[1] is not None
        return pair[0], pair[1]

    def middle(self, reading: Reading) -> float:
        """The middle of what was read, or its finite end, in the project's unit and the tub's own scale."""
        low, high = self.standard(reading)
        return high if np.isinf(low) else low if np.isinf(high) else 0.5 * (low + high)

    def standard(self, reading: Reading) -> tuple[float, float]:
        """What was read, as an interval in the project's unit and the tub's own scale."""
        return standard_value(reading)

    def told(self, reading: Reading) -> dict[str, float | str]:
        """What was read, for a text."""
        return told_of(*self.standard(reading))

    def colour_misleads(self, reading: Reading) -> bool:
        """Whether a pH was read by a colour that counts for nothing here; an electrode has none."""
        return self._colour_spoiled and suffers(reading, _DYE)

    @cached_property
    def _colour_spoiled(self) -> bool:
        """Much sanitizer, or a purple colour."""
        newest = self.readings(self.sanitizer_quantity)[:1]
        high = [r for r in newest if not self._before_this_water(r.at)]
        strong = bool(high) and max(self.standard(high[0])) > interferences()[_DYE].onset
        return strong or Sign.PURPLE_INDICATOR in self.noticed.signs

    def _bleached(self, reading: Reading) -> bool:
        """Zero soon after a big dose is bleached colour, not low sanitizer."""
        low = max(self.standard(reading)) < 1.0
        since = reading.at - timedelta(hours=_BLEACHING_HOURS)
        recent = [d for d in self.doses() if since <= d.at <= reading.at]
        return low and any(self.raises_by(d) > 10.0 for d in recent)

    def doses(self) -> list[Dosed]:
        """Doses up to now, newest first."""
        found = [e for e in self.belief.events if isinstance(e, Dosed) and e.at <= self.now]
        return sorted(found, key=lambda e: e.at, reverse=True)

    def raises_by(self, dosed: Dosed) -> float:
        """Sanitizer that a dose can make, mg/L on the tub's own scale, at the volume on the plate."""
        mol = self.products.compositions[dosed.product].oxidant * dosed.grams
        return mol * self.grams_per_mol * 1000.0 / self.tub.litres

    @cached_property
    def monopersulfate_minutes(self) -> float:
        """Minutes until 94 of 100 parts of a monopersulfate dose have reacted with this bank, at its cautious end."""
        return reaction_minutes(self.state, self.rates)

    @property
    def windows(self) -> tuple[tuple[datetime, datetime], ...]:
        """From each dose of monopersulfate until a reading of the sanitizer counts again."""
        span = timedelta(minutes=self.monopersulfate_minutes)
        return tuple((d.at, d.at + span) for d in self.doses() if self._reacts(d.product))

    def _in_window(self, at: datetime) -> bool:
        return any(since <= at < until for since, until in self.windows)

    @property
    def in_monopersulfate_window(self) -> bool:
        """Whether monopersulfate is still reacting now."""
        return self.window_minutes_left > 0.0

    @property
    def window_minutes_left(self) -> float:
        """Minutes until no monopersulfate reacts any more, 0 where none does."""
        given = [d.at for d in self.doses() if self._reacts(d.product) and d.at <= self.now]
        gone = (self.now - max(given)).total_seconds() / 60.0 if given else self.monopersulfate_minutes
        return max(self.monopersulfate_minutes - gone, 0.0)

    @property
    def wait_until(self) -> datetime:
        """When the last of the waits after what went in is over; as long as the steps of a plan wait in this tub."""
        products = {product.name: product for product in self.shelf.products}
        waits = [d.at + timedelta(minutes=mixing_minutes(self.tub, products.get(d.product))) for d in self.doses()]
        return max(waits, default=self.now)

    def spoils_minutes(self, product: str) -> float:
        """How long no reading counts after a dose of a product in hand, min."""
        found = next((p for p in self.shelf.products if p.name == product), None)
        mixes = mixing_minutes(self.tub, found) if found else 0.0
        return max(self.monopersulfate_minutes if self._reacts(product) else 0.0, mixes)

    def _reacts(self, product: str) -> bool:
        """Whether a product brings monopersulfate."""
        recipe = self.products.compositions.get(product)
        return recipe is not None and bool(recipe.per_gram[INDEX["monopersulfate"]] > 0.0)

    def best_product(self, role: Role) -> Product | None:
        """The first product in hand that fills a role and is supported in this tub."""
        for product in self.shelf.products:
            substance = substance_of(product)
            if role in substance.roles and product.strength and not substance.refusal(self.tub.sanitizer):
                return product
        return None


def others(shelf: Shelf, tub: Tub) -> Sequence[tuple[Product, str]]:
    """Products in hand that this tub must not have, with the kind of the refusal."""
    found = [(p, substance_of(p).refusal(tub.sanitizer)) for p in shelf.products]
    return [(p, kind) for p, kind in found if kind]
