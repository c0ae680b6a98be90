"""A window of the past: from its anchor on, everything that happened, re-lived for any members."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tubwater.belief.anchor import Anchor
from tubwater.belief.history import Happening, Slot
from tubwater.belief.life import Moment, covered_until, passed, scoop_share, size_of
from tubwater.belief.prior import Prior
from tubwater.belief.products import Products
from tubwater.belief.readings import kit_name, predictions
from tubwater.tub import Dosed, Filled, Tested

__all__ = ["Window", "lasting_names", "mapped"]

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Window:
    """Attributes:
    anchor: what was believed at its beginning. line: happenings of the whole past.
    first: the first happening after the anchor. extras: lasting offsets met since.
    """

    prior: Prior
    products: Products
    line: tuple[Happening, ...]
    anchor: Anchor
    first: int
    extras: tuple[str, ...]

    def rows(self, start: int, stop: int) -> int:
        """Normal numbers that stand for happenings from ``start`` up to ``stop``."""
        return sum(h.draws for h in self.line[start:stop])

    def begin(self, z: Array) -> Moment:
        """Every member at the anchor."""
        core, body = self.anchor.plain(z)
        offsets = self.offsets(z)
        bare = self.prior.rates(self.prior.values(core))
        state = self.anchor.state(self.prior, core, body, bare.fill)
        return Moment(self.anchor.at, self.prior, self.products, core, offsets, bare, state)

    def lived(self, now: Moment, noise: Array, start: int, stop: int) -> tuple[Moment, tuple[Array, ...]]:
        """After the happenings from ``start`` up to ``stop``, and the true values behind the readings among them."""
        rows, row = [], 0
        for happening in self.line[start:stop]:
            now = covered_until(now, happening.at)
            if isinstance(happening.what, Tested):
                observer, now = now.seen()
                rows.append(predictions(happening.what, now, observer))
            now = passed(now, happening, noise[row : row + happening.draws])
            row += happening.draws
        return now, tuple(rows)

    def heard(self, now: Moment, index: int) -> tuple[Moment, Array]:
        """At the update ``index``, and the true values behind it."""
        happening = self.line[index]
        now = covered_until(now, happening.at)
        if isinstance(happening.what, Filled):
            return now, predictions(happening.what, now, None)
        observer, now = now.seen()
        assert isinstance(happening.what, Tested)
        return now, predictions(happening.what, now, observer)

    def feature(self, u: Array, lasting: int, stop: int) -> Array:
        """Plain numbers u (lasting, then the noise up to ``stop``) as readings follow them nearly linearly."""
        found, row = u.copy(), lasting
        for happening in self.line[self.first : stop]:
            if isinstance(happening.what, Slot):
                found[row : row + happening.draws] = size_of(happening.what, u[row : row + happening.draws])
            row += happening.draws
        return found

    def updates(self, stop: int) -> tuple[Tested | Filled, ...]:
        """What was heard in the window before happening ``stop``."""
        return tuple(h.what for h in self.line[self.first : stop] if isinstance(h.what, Tested | Filled))

    def offsets(self, z: Array) -> dict[str, Array]:
        """The lasting offsets by name."""
        names, mean, root = self.offset_map(z.shape[0])
        return dict(zip(names, mean + root @ z, strict=True))

    def offset_map(self, rows: int) -> tuple[tuple[str, ...], Array, Array]:
        """Names, mean (k, 1) and root (k, rows of z) of the lasting offsets."""
        old, n = len(self.anchor.lasting), self.anchor.size
        names = (*self.anchor.lasting, *self.extras)
        mean, root = np.zeros((len(names), 1)), np.zeros((len(names), rows))
        mean[:old, 0] = self.anchor.mean[n - old :]
        root[:old, :n] = self.anchor.root[n - old :]
        root[old:, n:] = np.eye(len(self.extras))
        return names, mean, root


def lasting_names(line: Sequence[Happening]) -> tuple[str, ...]:
    """Offsets that some happenings share with others: of a kit for a quantity, of a scoop for a product."""
    found: dict[str, None] = {}
    for happening in line:
        what = happening.what
        if isinstance(what, Tested):
            found |= {kit_name(reading): None for reading in what.readings}
        if isinstance(what, Dosed) and scoop_share(what)[0] > 0.0:
            found[f"scoop {what.product}"] = None
    return tuple(found)


def mapped(function: Callable[..., Array], *trees: Any) -> Any:
    """Values of one build with ``function`` applied to their arrays; the rest is taken from the first."""
    head = trees[0]
    if isinstance(head, np.ndarray):
        return function(*trees)
    if isinstance(head, Mapping):
        return {key: mapped(function, *(tree[key] for tree in trees)) for key in head}
    if isinstance(head, tuple) and all(isinstance(tree, tuple) and len(tree) == len(head) for tree in trees):
        return tuple(mapped(function, *parts) for parts in zip(*trees, strict=True))
    if isinstance(head, _LEAVES) or not is_dataclass(head) or isinstance(head, type):
        return head
    return replace(head, **{f.name: mapped(function, *(getattr(t, f.name) for t in trees)) for f in fields(head)})


_LEAVES = (Prior, Products)
