"""Never fit when it is not, on hidden tubs that do not follow the model; the bench counts many more."""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

import pytest
from scipy.stats import binom

sys.path.append(str(Path(__file__).resolve().parents[2] / "bench"))

from fit import asked, upper_limit

TUBS, WEEKS, MEMBERS = 6, 2, 200
NAMES = ("fit", "wrongly fit", "wrongly fit by the sanitizer")
AIM = 0.01  # of the soaks that are allowed may be allowed wrongly


def test_hidden_tubs_are_not_called_fit_when_they_are_not() -> None:
    """Never by the sanitizer; with the pH, no more than chance makes of the aim in 95 of 100 such counts."""
    total: Counter[str] = sum((asked(tub, WEEKS, MEMBERS) for tub in range(TUBS)), Counter())
    print(dict(total))
    assert total["strip: asked"] == total["kit: asked"] > TUBS
    fit, wrong, bare = (total[f"strip: {name}"] + total[f"kit: {name}"] for name in NAMES)
    assert fit > TUBS and bare == 0
    assert binom.sf(wrong - 1, fit, AIM) > 0.05


def test_the_limit_on_the_share_is_that_of_three_in_a_hundred_without_one() -> None:
    assert upper_limit(0, 300) == pytest.approx(0.01, abs=1e-4)
    assert upper_limit(2, 2) == 1.0
