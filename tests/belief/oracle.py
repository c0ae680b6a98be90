"""The posterior of a small past by a general-purpose sampler: the same prior and likelihood, none of its own moves.

The sampler is the ensemble of the emcee library (Foreman-Mackey et al. 2013, PASP 125:306) with its
differential-evolution and snooker moves; it sees plain numbers and a log density, and knows nothing of tempering.
"""

from __future__ import annotations

from collections.abc import Sequence

import emcee
import numpy as np
from numpy.typing import NDArray

from belief.histories import NOW, PRODUCTS, TUB, compared
from tubwater.belief import happenings, prior_of
from tubwater.belief.anchor import first
from tubwater.belief.life import covered_until
from tubwater.belief.readings import told
from tubwater.belief.window import Window, lasting_names
from tubwater.tub import Event

__all__ = ["Oracle"]

Array = NDArray[np.float64]
_FLOOR = -1e5


class Oracle:
    """The posterior of one past that begins with a water in use, on standard normal numbers."""

    def __init__(self, events: Sequence[Event]) -> None:
        self.prior, line = prior_of(TUB), happenings(events, NOW)
        anchor = first(self.prior, line[0].at, False)
        extras = lasting_names(line)
        self.window = Window(self.prior, PRODUCTS, line, anchor, 0, extras)
        self.lasting = anchor.size + len(extras)
        self.size = self.lasting + self.window.rows(0, len(line))

    def log_density(self, u: Array) -> Array:
        """log of prior times likelihood for walkers u, shape (N, size)."""
        rows = self._lived(u.T)[1]
        offsets = self.window.offsets(u.T[: self.lasting])
        score = sum(told(update, seen, offsets) for update, seen in zip(self._updates(), rows, strict=True))
        return np.maximum(score - 0.5 * np.square(u).sum(axis=1), _FLOOR)

    def quantities(self, u: Array) -> dict[str, Array]:
        """Quantities of walkers u at the end, (N,)."""
        moment = covered_until(self._lived(u.T)[0], NOW).seen()[1]
        return compared(self.prior, moment.core, moment.rates, moment.state)

    def sampled(self, walkers: int, steps: int, seed: int) -> dict[str, Array]:
        """Quantities of the second half of the chains, thinned."""
        rng = np.random.default_rng(seed)
        moves = [(emcee.moves.DEMove(), 0.7), (emcee.moves.DESnookerMove(), 0.1), (emcee.moves.StretchMove(), 0.2)]
        sampler = emcee.EnsembleSampler(walkers, self.size, self.log_density, moves=moves, vectorize=True)
        sampler.random_state = np.random.RandomState(seed).get_state()
        sampler.run_mcmc(self._start(walkers, rng), steps)
        chain = sampler.get_chain(discard=steps // 2, thin=max(steps // 60, 1), flat=True)
        return self.quantities(chain)

    def _start(self, walkers: int, rng: np.random.Generator) -> Array:
        """Draws of the prior, picked by their likelihood, so that the chains need not find the reading first."""
        u = rng.standard_normal((40 * walkers, self.size))
        score = self.log_density(u) + 0.5 * np.square(u).sum(axis=1)
        order = np.argsort(-(score + rng.gumbel(size=score.size)))  # drawn without putting back
        return u[order[:walkers]]

    def _lived(self, u: Array):  # type: ignore[no-untyped-def]
        z, noise = u[: self.lasting], u[self.lasting :]
        return self.window.lived(self.window.begin(z), noise, 0, len(self.window.line))

    def _updates(self):  # type: ignore[no-untyped-def]
        return self.window.updates(len(self.window.line))
