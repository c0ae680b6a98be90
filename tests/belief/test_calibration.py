"""Simulation-based calibration: over draws of the model, the truth lies anywhere among the members alike."""

from __future__ import annotations

import numpy as np
import pytest

from belief.calibration import Ranked, ranked, uniform
from belief.histories import HISTORIES

DRAWS, MEMBERS = 14, 200
UNLIKELY = 1e-4  # for each of six quantities; the draws are the same on every machine
QUANTITIES = ("bromine", "pH", "alkalinity", "volume", "decay", "demand")


@pytest.fixture(scope="module")
def found() -> list[Ranked]:
    """Draws of every history, none of them twice."""
    return [r for k, past in enumerate(HISTORIES) for r in ranked(past, DRAWS, MEMBERS, seed=1000 * k)]


def test_the_rank_of_the_truth_is_uniform(found: list[Ranked]) -> None:
    chances = {name: uniform([r.ranks[name] for r in found])[1] for name in QUANTITIES}
    assert min(chances.values()) > UNLIKELY, chances


def test_the_cloud_neither_collapses_nor_stands_still(found: list[Ranked]) -> None:
    assert all(r.healthy for r in found)
    assert np.mean([r.distinct for r in found]) > 0.8
    assert np.mean([r.acceptance for r in found]) > 0.2


@pytest.mark.parametrize("width", [0.5, 2.0])
def test_a_belief_of_the_wrong_width_would_be_found(found: list[Ranked], width: float) -> None:
    ranks = np.array([r.ranks["pH"] for r in found])
    wrong = np.clip(0.5 + width * (ranks - 0.5), 0.0, 1.0)
    assert uniform(wrong.tolist())[1] < UNLIKELY
