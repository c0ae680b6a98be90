"""The last choice of a plan: single precision and the race leave it what it was."""

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from tubwater.advice import Situation, Wishes, decide, settle
from tubwater.advice.decide import Kit, kit_of
from tubwater.advice.search import Problem, search
from tubwater.belief import mapped
from tubwater.services.advise import case_of
from tubwater.services.tubfile import read_tub_file

NOW = datetime(2026, 4, 18, 16, tzinfo=UTC)
EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "tub.toml"


@pytest.fixture(scope="module")
def case() -> Situation:
    file = read_tub_file(EXAMPLE, NOW)
    return case_of(file.tub, file.shelf, file.events, NOW, 0)


@pytest.fixture(scope="module")
def kit(case: Situation) -> Kit:
    return kit_of(case)


def problem(case: Situation, kit: Kit, members: int = 256) -> Problem:
    wishes, rng = Wishes(None, 7.0), np.random.default_rng(5)
    return decide._problem(case, kit, wishes, rng, 0, members, decide._bounds(case, kit, {}))


def test_the_race_chooses_what_the_whole_field_would(
    case: Situation, kit: Kit, monkeypatch: pytest.MonkeyPatch
) -> None:
    field, rng = problem(case, kit), np.random.default_rng(6)
    found = dict(search(problem(case, kit, 64), rng).levers)
    raced = decide._rounded(field, kit, found, dict(field.bounds))
    monkeypatch.setattr(settle, "_MANY", 10**9)
    assert raced == decide._rounded(field, kit, found, dict(field.bounds))


def test_candidates_left_behind_are_clearly_worse(case: Situation, kit: Kit, monkeypatch: pytest.MonkeyPatch) -> None:
    field = problem(case, kit)
    nothing = {name: 0.0 for name in field.bounds} | {"opening": 0.5}
    rows = [nothing | {"oxidizer": grams} for grams in np.linspace(0.0, field.bounds["oxidizer"][1], 30)]
    raced = settle._worth(field, rows)
    monkeypatch.setattr(settle, "_MANY", 10**9)
    whole = settle._worth(field, rows)
    left = np.isnan(raced).any(axis=1)
    assert 0 < left.sum() < len(rows)
    assert np.allclose(raced[~left], whole[~left], atol=0.02)
    assert whole[left].mean(axis=1).max() < whole[~left].mean(axis=1).max()


def test_single_precision_moves_a_roll_out_by_less_than_a_thousandth(case: Situation, kit: Kit) -> None:
    single = problem(case, kit)
    double = mapped(lambda a: a.astype(np.float64), single)
    grams = {name: np.linspace(0.0, high, 5) for name, (_, high) in single.bounds.items()}
    one, two = single.run(grams), double.run(grams)
    assert single.state.ph.dtype == np.float32 and double.state.ph.dtype == np.float64
    assert np.abs(one.end_ph - two.end_ph).max() < 1e-3
    assert np.abs(one.in_band.mean(axis=1) - two.in_band.mean(axis=1)).max() < 2e-3
    assert one.end_ph.dtype == np.float64
