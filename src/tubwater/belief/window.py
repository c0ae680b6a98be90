"""A window of the past: from its anchor on, everything that happened, re-lived for any members."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tubwater.belief.anchor import Anchor
from tubwater.belief.history import Happening
from tubwater.belief.life import Moment, covered_until, passed, scoop_share
from tubwater.belief.prior import Prior
from tubwater.belief.products import Products
from tubwater.belief.readings import kit_name, told
from tubwater.tub import Dosed, Tested

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
        core, body, rest = self.anchor.plain(z)
        offsets = dict(zip((*self.anchor.lasting, *self.extras), rest, strict=True))
        bare = self.prior.rates(self.prior.values(core))
        state = self.anchor.state(self.prior, core, body, bare.fill)
        return Moment(self.anchor.at, self.prior, self.products, core, offsets, bare, state)

    def lived(self, now: Moment, noise: Array, start: int, stop: int) -> tuple[Moment, Array]:
        """After the happenings from ``start`` up to ``stop``, and log P of the readings among them."""
        score, row = np.zeros(now.core.shape[1]), 0
        for happening in self.line[start:stop]:
            now = covered_until(now, happening.at)
            if isinstance(happening.what, Tested):
                observer, now = now.seen()
                score += told(happening.what, now, observer)
            now = passed(now, happening, noise[row : row + happening.draws])
            row += happening.draws
        return now, score


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
