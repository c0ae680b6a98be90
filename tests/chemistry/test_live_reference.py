"""Random waters against the reference code, run here: phreeqc.dat of 22 May 2024 in the phreeqc package."""

from __future__ import annotations

import numpy as np

from chemistry.reference import reference, script, solve
from chemistry.waters import random_waters
from tubwater.chemistry import (
    DEFAULT,
    REFERENCE_2024,
    Constants,
    Water,
    equilibrate,
    kg_water_per_litre,
    precipitation_potential,
)

COUNT = 700
NO_BORATE_PAIR = Constants(calcium_borate=False)


def compared(constants: Constants, own_constants: bool) -> tuple[Water, np.ndarray, np.ndarray]:
    water = random_waters(20260504, COUNT, constants)
    assert water.temperature.size >= 500
    solution = equilibrate(water, constants)
    assert solution.converged.all()
    ph, si = solve(reference(own_constants), script(water, np.round(solution.ph, 1)))
    return water, solution.ph - ph, np.where(water.calcium > 1e-6, solution.si_calcite - si, 0.0)


def test_random_waters_agree_with_the_reference_on_the_same_constants() -> None:
    _, ph, si = compared(NO_BORATE_PAIR, own_constants=False)
    assert np.abs(ph).max() <= 0.005
    assert np.abs(si).max() <= 0.01


def test_random_waters_agree_with_the_reference_on_its_own_constants_named_here() -> None:
    _, ph, si = compared(REFERENCE_2024, own_constants=True)
    assert np.abs(ph).max() <= 0.01
    assert np.abs(si).max() <= 0.02


def test_the_default_without_the_borate_pair_stays_within_a_tenth_of_the_reference_s_saturation() -> None:
    # At 42 degC, calcium to 1000 and sulfate to 2000 mg/L the two sources of constants part by up to this much.
    _, ph, si = compared(NO_BORATE_PAIR, own_constants=True)
    assert np.median(np.abs(ph)) <= 0.005
    assert np.abs(si).max() <= 0.10


def test_the_precipitation_potential_agrees_with_the_reference_on_the_same_constants() -> None:
    water = random_waters(7, 60, NO_BORATE_PAIR)
    water = water[water.calcium > 2e-4]
    engine = reference(own_constants=False)
    ours = precipitation_potential(water, NO_BORATE_PAIR)
    exact = water.plus(calcium=-_per_kg(water, ours), carbonate=-_per_kg(water, ours))
    _, si = solve(engine, script(exact, np.full(water.shape, 7.5)))
    assert np.abs(si).max() <= 0.01


def _per_kg(water: Water, milligrams: np.ndarray) -> np.ndarray:
    return milligrams / (100.087e3 * kg_water_per_litre(water))


def test_the_borate_pair_is_what_parts_the_default_from_the_reference() -> None:
    water = random_waters(3, 200, NO_BORATE_PAIR)
    apart = equilibrate(water, DEFAULT).ph - equilibrate(water, NO_BORATE_PAIR).ph
    assert (apart <= 1e-9).all()
    assert apart[water.borate * water.calcium > 1e-6].max() < 0.0
