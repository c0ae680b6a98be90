"""The posterior of small pasts against a general-purpose sampler on the same prior and likelihood."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from belief.histories import HISTORIES, NOW, PRODUCTS, TUB, Past, compared
from belief.oracle import Oracle
from tubwater.belief import believe

WALKERS, STEPS, MEMBERS = 200, 400, 1000
SHIFT, NARROW, WIDE = 0.3, 0.8, 1.25  # of the middle in half-widths; ratio of the half-widths


@pytest.mark.parametrize("past", HISTORIES, ids=lambda past: past.name)
def test_the_belief_has_the_middle_and_the_width_of_the_posterior(past: Past) -> None:
    held = believe(TUB, PRODUCTS, past.events, NOW, seed=1, members=MEMBERS)
    assert held.info is not None and held.info.healthy
    mine = compared(held.prior, held.latent, held.rates, held.state)
    theirs = Oracle(past.events).sampled(WALKERS, STEPS, seed=1)
    for name, members in mine.items():
        (middle, width), (wanted, wide) = _middle(members), _middle(theirs[name])
        assert abs(middle - wanted) <= SHIFT * wide, name
        assert NARROW <= width / wide <= WIDE, name


def _middle(values: NDArray[np.float64]) -> tuple[float, float]:
    """The median and half the width of the middle 68 of 100, which rare blunders do not move."""
    low, middle, high = np.quantile(values, (0.16, 0.5, 0.84))
    return float(middle), float(high - low) / 2.0
