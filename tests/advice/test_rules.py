"""Rules that nothing may break, over wide random tubs, shelves, readings and logbooks."""

from __future__ import annotations

import os
from collections import Counter

import pytest
from hypothesis import HealthCheck, Phase, given, seed, settings

from advice.rules import RULES, answered, check
from advice.strategies import ASKINGS, Drawn, cases

SHARDS = 20  # so that processes share the work, and since many seeds draw more widely than one long run
PHASES = (Phase.reuse, Phase.generate)  # to shrink a case takes minutes: each try is a whole belief and plan
ANSWERS = 3000 if os.environ.get("TUBWATER_PROFILE") == "check" else 150


@pytest.mark.parametrize("shard", range(SHARDS))
def test_no_plan_and_no_verdict_breaks_a_rule(shard: int) -> None:
    tally: Counter[str] = Counter()

    @seed(shard)
    @settings(
        max_examples=-(-ANSWERS // SHARDS // ASKINGS),
        deadline=None,
        phases=PHASES,
        suppress_health_check=list(HealthCheck),
    )
    @given(cases())
    def keeps_the_rules(drawn: tuple[Drawn, ...]) -> None:
        for answer in answered(drawn):
            tally["answers"] += 1
            tally[answer.verdict.kind] += 1
            check(answer, tally)

    keeps_the_rules()
    print(dict(tally))
    assert tally["answers"] >= ANSWERS // SHARDS
    if ANSWERS >= 3000:  # few answers may well meet no dose
        assert tally["no_dose_takes_ph_out_of_its_limits"] > 0


def test_every_rule_is_named_once() -> None:
    assert len({rule.__name__ for rule in RULES}) == len(RULES)
