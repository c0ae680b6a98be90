"""The first lock of the verdict: readings on their limits, and waits of this tub."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from advice.scenes import CLEAR, NOW, SHELF, TUB, a_test
from tubwater.services import verdict_for
from tubwater.tub import Dosed, Tub, TubKind, VerdictKind, equipment_of

STILL = replace(TUB, kind=TubKind.WOOD_FIRED, equipment=equipment_of(TubKind.WOOD_FIRED))


@pytest.mark.parametrize(("bromine", "ph", "quantity", "limit"), [(5.0, 7.0, "pH", 7.0), (5.0, 8.0, "pH", 8.0)])
def test_a_reading_on_its_limit_lies_as_likely_outside_and_is_not_fit(
    bromine: float, ph: float, quantity: str, limit: float
) -> None:
    verdict = verdict_for(TUB, SHELF, [CLEAR, a_test(bromine, ph, method="photometer")], NOW)
    assert verdict.kind is VerdictKind.NOT_YET
    (said,) = (r for r in verdict.reasons if r.kind == "reading-on-the-limit")
    assert said.values == {"quantity": quantity, "limit": limit}
    assert [r.kind for r in verdict.changes].count("dose-then-test") == 1


@pytest.mark.parametrize("bromine", [3.0, 10.0])
def test_sanitizer_that_reads_as_its_limit_is_not_fit(bromine: float) -> None:
    verdict = verdict_for(TUB, SHELF, [CLEAR, a_test(bromine, 7.5, method="photometer")], NOW)
    assert verdict.kind is VerdictKind.NOT_YET
    assert {r.values["limit"] for r in verdict.reasons if r.kind == "reading-on-the-limit"} == {bromine}


@pytest.mark.parametrize(("tub", "running"), [(TUB, False), (STILL, True)])
def test_a_wait_runs_as_long_as_the_plan_waits_in_this_tub(tub: Tub, running: bool) -> None:
    """Without a pump what went in takes twice as long to mix: half an hour after it nobody is let in yet."""
    given = Dosed(NOW - timedelta(minutes=30), "dry acid", 5.0)
    verdict = verdict_for(tub, SHELF, [given, CLEAR, a_test(5.0, 7.5, method="photometer")], NOW)
    assert ("wait-running" in {r.kind for r in verdict.reasons}) is running
    assert verdict.kind is (VerdictKind.NOT_YET if running else VerdictKind.FIT)
