"""Never fit when it is not, on hidden tubs that do not follow the model; the bench counts many more."""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

import pytest

sys.path.append(str(Path(__file__).resolve().parents[2] / "bench"))

from fit import asked, upper_limit

WEEKS, MEMBERS = 2, 200


@pytest.mark.parametrize("tub", range(6))
def test_a_hidden_tub_is_never_called_fit_when_it_is_not(tub: int) -> None:
    counts: Counter[str] = asked(tub, WEEKS, MEMBERS)
    print(dict(counts))
    assert counts["strip: asked"] == counts["kit: asked"] > 0
    assert counts["strip: wrongly fit"] == counts["kit: wrongly fit"] == 0


def test_the_limit_on_the_share_is_that_of_three_in_a_hundred_without_one() -> None:
    assert upper_limit(0, 300) == pytest.approx(0.01, abs=1e-4)
    assert upper_limit(2, 2) == 1.0
