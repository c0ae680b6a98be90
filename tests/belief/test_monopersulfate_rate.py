"""The rate of monopersulfate stands in the chemistry; the defaults only scale it."""

from __future__ import annotations

import numpy as np
import pytest

from tubwater.belief.prior import prior_of
from tubwater.chemistry import monopersulfate_rate
from tubwater.facts import defaults
from tubwater.tub import Sanitizer, Tub


@pytest.mark.parametrize("celsius", [25.0, 38.0])
def test_a_tub_has_the_rate_of_the_chemistry_at_its_own_temperature(celsius: float) -> None:
    prior = prior_of(Tub("cabin", 1300.0, Sanitizer.BROMINE, temperature=celsius))
    rates = prior.rates(prior.values(np.zeros((prior.size, 3))))
    assert rates.monopersulfate_rate == pytest.approx(np.full(3, monopersulfate_rate(celsius)))


def test_the_default_scales_the_rate(monkeypatch: pytest.MonkeyPatch) -> None:
    doubled = {**defaults(), "monopersulfate_rate_factor": defaults()["monopersulfate_rate_factor"].replaced(value=2.0)}
    monkeypatch.setattr("tubwater.belief.prior.defaults", lambda: doubled)
    prior = prior_of(Tub("cabin", 1300.0, Sanitizer.BROMINE))
    rates = prior.rates(prior.values(np.zeros((prior.size, 3))))
    assert rates.monopersulfate_rate == pytest.approx(np.full(3, 2.0 * monopersulfate_rate(38.0)))
