"""The belief: possible waters and possible tubs, moved by what was done and weighted by what was read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from tubwater.belief.anchor import first
from tubwater.belief.change import Change
from tubwater.belief.checkpoint import Checkpoints, History, resumed
from tubwater.belief.history import Happening, happenings, stream
from tubwater.belief.life import Moment, covered_until
from tubwater.belief.prior import Prior, prior_of
from tubwater.belief.products import Products
from tubwater.belief.sampler import SamplerInfo
from tubwater.belief.track import Track, begun, following, is_update, prepared, rolled
from tubwater.belief.window import Window, mapped
from tubwater.dynamics import Rates, TubState
from tubwater.tub import Event, Tested, Tub

__all__ = ["MEMBERS", "Belief", "Foretold", "believe", "foretell"]

Array = NDArray[np.float64]
MEMBERS = 1000


@dataclass(frozen=True, eq=False)
class Belief:
    """What is believed at ``at``.

    Attributes:
        prior: the unknowns. latent: plain numbers of tub and fill water now, (prior.core, N); ``prior.values`` of
            them gives each by name. state, rates: of each member, shape (N,).
        events: what it rests on. info: how the newest update went, None without a reading.
        suspects: names of quantities whose newest readings do not fit together; empty when all fit.
        noise: numbers of what was unseen in the present window, (rows, N); ``window`` are its happenings.
        noticed: changes that were told when earlier windows closed.
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
    noise: Array
    window: tuple[Happening, ...]
    noticed: tuple[Change, ...] = ()

    @property
    def size(self) -> int:
        """Members."""
        return int(self.latent.shape[1])

    def value(self, name: str) -> Array:
        """An unknown of the tub by the name of its default, (N,)."""
        return self.prior.value(name, self.latent[self.prior.names.index(name)])

    def thinned(self, members: int) -> Belief:
        """A belief of the first members only; they are exchangeable."""
        found: Belief = mapped(lambda a: a[..., :members], replace(self, events=(), window=(), noticed=()))
        return replace(found, events=self.events, window=self.window, noticed=self.noticed)


def believe(
    tub: Tub,
    products: Products,
    events: Sequence[Event],
    now: datetime,
    seed: int = 0,
    members: int = MEMBERS,
    checkpoints: Checkpoints | None = None,
) -> Belief:
    """The belief at ``now`` from the prior and everything seen and done, reproducible by ``seed``.

    With ``checkpoints`` only what came after the newest one that still holds is lived again; the result is the same
    to the bit as without.
    """
    prior, line = prior_of(tub), happenings(events, now)
    past = tuple(sorted((e for e in events if e.at <= now), key=lambda e: e.at))
    if not line:
        return _belief(_unseen(prior, products, now, seed, members), None, np.zeros((0, members)), (), past, now)
    history = History(tub, products, line, seed, members)
    track = resumed(history, prior, checkpoints) or begun(prior, products, line, seed, members)
    updates = [i for i in range(track.done, len(line)) if is_update(line[i])]
    for index in updates:
        track = following(track, line, index, seed)
        history.keep(track, index, index in updates[-3:], checkpoints)
    moment, noise = rolled(track, line, seed)
    return _belief(moment, track, noise, line[track.first :], past, now)


def _unseen(prior: Prior, products: Products, now: datetime, seed: int, members: int) -> Moment:
    """The prior alone."""
    anchor = first(prior, now, False)
    z = stream(seed, "tub", "prior").standard_normal((anchor.size, members))
    return Window(prior, products, (), anchor, 0, ()).begin(z)


def _belief(
    moment: Moment,
    track: Track | None,
    noise: Array,
    window: tuple[Happening, ...],
    past: tuple[Event, ...],
    now: datetime,
) -> Belief:
    _, moment = covered_until(moment, now).seen()
    info = track.info if track else None
    found, noticed = (track.suspects, track.noticed) if track else ((), ())
    m = moment
    return Belief(m.prior, m.core, now, m.state, m.rates, m.products, past, info, found, noise, window, noticed)


@dataclass(frozen=True, eq=False)
class Foretold:
    """What the prior makes of a past if nothing in it is heard: for checks of calibration and worked examples.

    Attributes:
        tests: each test with the true values behind it, rows as bromine, monopersulfate (mg/L as Br2), each reading's.
        offsets: lasting offsets of kits ("kit METHOD QUANTITY") and scoops ("scoop PRODUCT"), standard normal, (N,).
        latent, state, rates: at the end, as in ``Belief``.
    """

    tests: tuple[tuple[Tested, Array], ...]
    offsets: Mapping[str, Array]
    latent: Array
    state: TubState
    rates: Rates


def foretell(
    tub: Tub, products: Products, events: Sequence[Event], now: datetime, seed: int = 0, members: int = MEMBERS
) -> Foretold:
    """Draws of the whole model: tubs, waters and everything unseen, on which the readings have had no say."""
    prior, line = prior_of(tub), happenings(events, now)
    track = begun(prior, products, line, seed, members)
    track, window, noise = prepared(track, line, len(line), seed)
    moment, rows = window.lived(window.begin(track.z), noise, 0, len(line))
    _, end = covered_until(moment, now).seen()
    tests = [h.what for h in line if isinstance(h.what, Tested)]
    return Foretold(tuple(zip(tests, rows, strict=True)), end.offsets, end.core, end.state, end.rates)
