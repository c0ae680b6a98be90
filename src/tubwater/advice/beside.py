"""The tub during a visit: each addition and wait moved through the full chemistry, with what a test would then read."""

from __future__ import annotations

from collections import deque
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tubwater.advice.now import Situation
from tubwater.belief import Observer
from tubwater.chemistry import Composition, Water, dose, freeze
from tubwater.dynamics import Mode, TubState, advance, refill
from tubwater.facts.quantity import Quantity
from tubwater.tub import Expectation

__all__ = ["Beside"]

Array = NDArray[np.float64]
_KNOWN = 8  # waters looked at last: a step asks several things of the one before it and of the one after


class Beside:
    """A running visit on the believed tubs; ``state`` moves with what is done."""

    def __init__(self, case: Situation, members: int = 256, seed: int = 0) -> None:
        thin = case.belief.thinned(members)
        self.state, self.rates, self.products = thin.state, thin.rates, thin.products
        self.sanitizer = case.sanitizer_quantity
        self._rng = np.random.default_rng([seed, 77])
        self._known: deque[tuple[Water, Observer]] = deque(maxlen=_KNOWN)

    def observer(self, state: TubState | None = None) -> Observer:
        """What a perfect test would read of a state, the present one by default; each water is solved once."""
        wanted = self.state if state is None else state
        for water, known in self._known:
            if water is wanted.water:
                return known
        found = Observer(wanted)
        self._known.append((wanted.water, found))
        return found

    def dosed(self, composition: Composition, grams: float, spread: float) -> TubState:
        """The state if ``grams`` of a product were added now, each tub with its own error of the measure."""
        return self._with(composition, grams * np.exp(spread * self._rng.standard_normal(self.state.ph.shape)))

    def exactly(self, composition: Composition, grams: float) -> TubState:
        """The state if ``grams`` of a product were added now without any error."""
        return self._with(composition, np.full(self.state.ph.shape, grams))

    def _with(self, composition: Composition, grams: Array) -> TubState:
        return self._solved(replace(self.state, water=dose(self.state.water, composition, grams, self.rates.litres)))

    def later(self, state: TubState, minutes: float, covered: bool = False) -> TubState:
        """The state after ``minutes`` with pumps on and the cover off, or covered."""
        mode = Mode.COVERED if covered else Mode.CIRCULATING
        buffer = freeze(state.water, solved=self.observer(state).solved)
        return self._solved(advance(state, self.rates, minutes / 60.0, mode, self.products.tablet, buffer))

    def refilled(self, litres: float) -> TubState:
        """The state after a partial drain of ``litres``."""
        return self._solved(refill(self.state, self.rates, litres / self.rates.litres))

    def expect(self, *quantities: Quantity, state: TubState | None = None) -> tuple[Expectation, ...]:
        """Median, 5th and 95th percentile of what a perfect test would read."""
        observer = self.observer(state)
        found = []
        for quantity in quantities:
            low, median, high = np.quantile(observer.read(quantity), (0.05, 0.5, 0.95))
            found.append(Expectation(quantity, float(median), float(low), float(high)))
        return tuple(found)

    def ph(self, state: TubState | None = None) -> Array:
        """pH of each member."""
        return (self.state if state is None else state).ph

    def calcite(self, state: TubState | None = None) -> Array:
        """Saturation index of calcite of each member."""
        return self.observer(state).solved.si_calcite

    def _solved(self, state: TubState) -> TubState:
        return replace(state, ph=self.observer(state).solved.ph)
