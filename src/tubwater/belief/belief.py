"""The belief: possible waters and possible tubs, moved by what was done and weighted by what was read."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from tubwater.belief.observe import Observer
from tubwater.belief.prior import Prior, prior_of
from tubwater.belief.replay import Products, moments
from tubwater.belief.sampler import SamplerInfo, temper
from tubwater.dynamics import Rates, TubState
from tubwater.facts.quantity import Quantity
from tubwater.measurement import ReadingContext, blunder_probability, log_likelihood
from tubwater.tub import Event, Filled, Reading, Tested, Tub

__all__ = ["MEMBERS", "Belief", "believe"]

Array = NDArray[np.float64]
_KIT_SHARE = 0.6  # of a method's one-sigma that stays the same from test to test (judgement)
_SUSPECT = 0.5
MEMBERS = 2000


@dataclass(frozen=True, eq=False)
class Belief:
    """What is believed at ``at``.

    Attributes:
        prior: the unknowns. latent: (D, N). state, rates: of each member, shape (N,).
        events: what it rests on. info: how the sampling went, None without a reading.
        suspects: names of quantities whose readings do not fit together; empty when all fit.
    """

    prior: Prior
    latent: Array
    at: datetime
    state: TubState
    rates: Rates
    products: Products
    events: tuple[Event, ...]
    info: SamplerInfo | None
    suspects: tuple[str, ...]

    @property
    def size(self) -> int:
        """Members."""
        return int(self.latent.shape[1])

    def thinned(self, members: int) -> Belief:
        """A belief of the first members only; they are exchangeable."""
        cut = slice(0, members)
        s = self.state
        state = TubState(s.water[cut], s.tablet_grams[cut], s.tablet_count[cut], s.opening[cut], s.ph[cut])
        return replace(self, latent=self.latent[:, cut], state=state, rates=self.rates[cut])


def believe(
    tub: Tub,
    products: Products,
    events: Sequence[Event],
    now: datetime,
    seed: int = 0,
    members: int = MEMBERS,
) -> Belief:
    """The belief at ``now`` from the prior and everything seen and done, reproducible by ``seed``.

    Random numbers are drawn per purpose from the seed and the events, so that the same logbook gives the same
    belief on one machine.
    """
    past = tuple(sorted((e for e in events if e.at <= now), key=lambda e: e.at))
    prior = prior_of(tub).with_biases(_kits(past))
    rng = _stream(seed, past)
    latent = rng.standard_normal((prior.size, members))
    info = None
    if any(isinstance(e, Tested) for e in past):
        latent, info = temper(latent, lambda z: _log_likelihood(prior, products, past, now, z), rng)
    state, rates = _relive(prior, products, past, now, latent)
    suspects = _suspects(prior, products, past, now, latent)
    return Belief(prior, latent, now, state, rates, products, past, info, suspects)


def _stream(seed: int, events: tuple[Event, ...]) -> np.random.Generator:
    digest = hashlib.sha256(repr([(type(e).__name__, e.at.isoformat()) for e in events]).encode()).digest()
    return np.random.default_rng([seed, int.from_bytes(digest[:8], "big")])


def _kits(events: Sequence[Event]) -> tuple[tuple[str, Quantity], ...]:
    """Each method and quantity that was read, once."""
    found = {(r.method, r.quantity) for e in events if isinstance(e, Tested) for r in e.readings}
    return tuple(sorted(found))


def _begin(prior: Prior, events: Sequence[Event], latent: Array) -> tuple[TubState, Rates]:
    """The state at the window's start: fill water after a fill, otherwise a water in use."""
    values = prior.values(latent)
    rates = prior.rates(values)
    filled = bool(events) and isinstance(events[0], Filled)
    water = rates.fill if filled else prior.water(values)
    zero = np.zeros(latent.shape[1])
    return TubState(water, zero, zero, zero + 0.5, zero + 7.5), rates


def _relive(
    prior: Prior, products: Products, events: tuple[Event, ...], now: datetime, latent: Array
) -> tuple[TubState, Rates]:
    state, rates = _begin(prior, events, latent)
    for event, later in moments(state, rates, events, events[0].at if events else now, now, products):
        if event is None:
            solved = Observer(later).solved.ph
            return replace(later, ph=solved), rates
    raise AssertionError("moments always ends with None")


def _log_likelihood(prior: Prior, products: Products, events: tuple[Event, ...], now: datetime, latent: Array) -> Array:
    state, rates = _begin(prior, events, latent)
    total = np.zeros(latent.shape[1])
    last = max(e.at for e in events if isinstance(e, Tested))
    for event, seen in moments(state, rates, events, events[0].at, min(now, last), products):
        if isinstance(event, Tested):
            observer = Observer(seen)
            for reading in event.readings:
                total += log_likelihood(
                    reading, observer.read(reading.quantity), _context(prior, latent, observer, reading)
                )
    return np.maximum(total, -1e6)


def _context(prior: Prior, latent: Array, observer: Observer, reading: Reading) -> ReadingContext:
    oxidant = observer.read(Quantity.BROMINE)
    return ReadingContext(
        bromine=oxidant,
        monopersulfate=observer.monopersulfate,
        kit_bias=_KIT_SHARE * prior.bias(latent, reading.method, reading.quantity),
        kit_share=_KIT_SHARE,
    )


def _suspects(
    prior: Prior, products: Products, events: tuple[Event, ...], now: datetime, latent: Array
) -> tuple[str, ...]:
    """Quantities whose readings are blunders more likely than not, given all the others."""
    state, rates = _begin(prior, events, latent)
    found: dict[str, float] = {}
    for event, seen in moments(state, rates, events, events[0].at if events else now, now, products):
        if isinstance(event, Tested):
            observer = Observer(seen)
            for r in event.readings:
                share = blunder_probability(r, observer.read(r.quantity), _context(prior, latent, observer, r))
                found[str(r.quantity)] = max(found.get(str(r.quantity), 0.0), float(np.mean(share)))
    whole = 1.0 - float(np.prod([1.0 - p for p in found.values()])) if found else 0.0
    if whole < _SUSPECT:
        return ()
    return tuple(name for name, p in found.items() if p > 0.15)
