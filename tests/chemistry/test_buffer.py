"""Frozen buffering against the full equilibrium."""

from __future__ import annotations

import numpy as np
import pytest

from tubwater.chemistry import MG_PER_EQ_CACO3, Water, equilibrate, freeze, water_at_ph


def tubs(seed: int, count: int) -> Water:
    r = np.random.default_rng(seed)
    bare = Water.of(
        r.uniform(10.0, 42.0, count),
        calcium=r.uniform(0.2e-3, 6e-3, count),
        magnesium=r.uniform(0.0, 1e-3, count),
        chloride=r.uniform(1e-3, 2e-2, count),
        sulfate=r.uniform(1e-4, 8e-3, count),
        bromide=r.uniform(0.0, 2e-3, count),
        bromine=r.uniform(0.0, 6e-5, count),
        borate=r.uniform(0.0, 5e-3, count) * (r.random(count) < 0.5),
        cyanurate=r.uniform(0.0, 4e-4, count) * (r.random(count) < 0.5),
        chlorine=r.uniform(0.0, 6e-5, count) * (r.random(count) < 0.3),
        hydantoin=r.uniform(0.0, 2e-3, count),
    )
    alkalinity = r.uniform(70.0, 200.0, count) / MG_PER_EQ_CACO3 * 1e-3
    return water_at_ph(bare, r.uniform(6.8, 8.4, count), alkalinity)


def test_a_frozen_buffer_follows_the_full_equilibrium_over_sixty_mg_of_alkalinity() -> None:
    water = tubs(5, 400)
    frozen, start = freeze(water), equilibrate(water).ph
    seen = 0
    for change in np.linspace(-60.0, 60.0, 13):
        moved = change / MG_PER_EQ_CACO3 * 1e-3
        dosed = water.plus(sodium=max(moved, 0.0), chloride=max(-moved, 0.0), carbonate=max(moved, 0.0) * 0.9)
        full = equilibrate(dosed)
        inside = (full.ph >= 6.8) & (full.ph <= 8.4)
        ph = frozen.ph(dosed.alkalinity, dosed.carbonate, dosed.bromine, start)
        assert np.abs(ph - full.ph)[inside].max() <= 0.02
        si = frozen.si_calcite(ph, dosed.calcium, dosed.carbonate)
        assert np.abs(si - full.si_calcite)[inside].max() <= 0.03
        co2 = frozen.co2(dosed.carbonate, ph)
        assert np.abs(co2 / full.species("CO2") - 1.0)[inside].max() <= 0.05
        seen += int(inside.sum())
    assert seen > 2000


@pytest.mark.parametrize(("cyanurate", "near"), [(0.0, 0.02), (2.4e-4, 0.05)])
def test_a_frozen_buffer_follows_chlorine_that_is_used_up(cyanurate: float, near: float) -> None:
    """Chlorine from 12 mg/L to nothing; with 31 mg/L of cyanuric acid less near, since its share is frozen."""
    count = 200
    r = np.random.default_rng(8)
    bare = Water.of(r.uniform(25.0, 40.0, count), calcium=1.5e-3, chloride=4e-3, cyanurate=cyanurate)
    alkalinity = r.uniform(60.0, 150.0, count) / MG_PER_EQ_CACO3 * 1e-3
    strong = water_at_ph(bare.plus(chlorine=1.7e-4), r.uniform(7.0, 8.2, count), alkalinity)
    frozen, start = freeze(strong), equilibrate(strong).ph
    for left in (1.2e-4, 6e-5, 1e-5, 0.0):
        used = strong.replaced(chlorine=left).plus(chloride=1.7e-4 - left)
        ph = frozen.ph(used.alkalinity, used.carbonate, used.bromine, start, used.chlorine)
        assert np.abs(ph - equilibrate(used).ph).max() <= near


def test_where_it_was_frozen_it_is_exact() -> None:
    water = tubs(6, 100)
    solution = equilibrate(water)
    frozen = freeze(water, solved=solution)
    ph = frozen.ph(water.alkalinity, water.carbonate, water.bromine, solution.ph)
    assert ph == pytest.approx(solution.ph, abs=1e-7)
    assert frozen.si_calcite(ph, water.calcium, water.carbonate) == pytest.approx(solution.si_calcite, abs=1e-6)
    assert frozen.co2_at(solution.pco2) == pytest.approx(solution.species("CO2"), rel=1e-9)


def test_candidates_broadcast_against_members() -> None:
    water = tubs(7, 20)
    frozen, start = freeze(water), equilibrate(water).ph
    alkalinity = water.alkalinity + np.linspace(-5e-4, 5e-4, 4)[:, None]
    ph = frozen.ph(alkalinity, water.carbonate, water.bromine, start)
    assert ph.shape == (4, 20)
    for row in range(4):  # a block goes on until its last member has arrived
        assert ph[row] == pytest.approx(frozen.ph(alkalinity[row], water.carbonate, water.bromine, start), abs=1e-3)
    some = frozen[np.array([3, 5])]
    assert some.ph(
        alkalinity[:, [3, 5]], water.carbonate[[3, 5]], water.bromine[[3, 5]], start[[3, 5]]
    ) == pytest.approx(ph[:, [3, 5]], abs=1e-3)
