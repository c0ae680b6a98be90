"""Every situation has scenarios enough, each with the steps and reasons that a named source or the trade expects."""

from __future__ import annotations

from collections import Counter

import pytest

from advice.situations import Scene, plan_of, said_by, scenes, taken
from tubwater.facts import references
from tubwater.facts.purposes import purposes
from tubwater.facts.situations import procedures
from tubwater.reports.text import kinds
from tubwater.tub import StepKind

SCENES, PRACTICE, LEAST = scenes(), "common practice", 3
SITUATIONS = """
purge and first fill; start-up of bromine; start-up without tablets; before and after a party; after any soak;
heavy use or murky water; murky a day after a shock; away for a weekend; away for weeks; away for a season; back again;
sanitizer lost, and for how long; residual too high; alkalinity and pH that will not settle; foam; scale;
corrosive water; metals; smell; skin or eyes; sanitizer never holds; pH keeps rising; contamination;
positive laboratory result; illness report; slime; a suction cover, a protective device, a pump; chlorine to bromine;
bromine to chlorine; winter; mothballing; end of life; worn-out water; a tub of unknown history;
water out and in, and the power
"""


def test_every_situation_has_three_scenarios_and_every_scenario_a_situation() -> None:
    counted = Counter(scene.situation for scene in SCENES)
    wanted = [name.strip() for name in SITUATIONS.replace("\n", " ").split(";")]
    assert {name: counted[name] for name in wanted if counted[name] < LEAST} == {}
    assert set(counted) == set(wanted)
    assert len({scene.id for scene in SCENES}) == len(SCENES)


def test_everything_that_can_be_asked_for_is_asked_for_in_three_scenarios() -> None:
    counted = Counter(scene.about for scene in SCENES)
    assert {key: counted[key] for key in purposes() if counted[key] < LEAST} == {}


def test_every_procedure_answers_three_scenarios() -> None:
    counted = Counter(scene.procedure for scene in SCENES)
    assert {key: counted[key] for key in procedures() if counted[key] < LEAST} == {}


def test_every_expectation_says_what_it_rests_on_and_names_steps_and_reasons_that_exist() -> None:
    steps = {*kinds("care"), *kinds("substance"), *StepKind}
    for scene in SCENES:
        assert scene.source == PRACTICE or scene.source in references(), scene.id
        assert scene.steps and scene.because, scene.id
        assert {*scene.steps, *scene.never} <= steps, scene.id
        assert set(scene.because) <= set(kinds("reason")), scene.id
        assert not scene.procedure or scene.procedure in procedures(), scene.id


@pytest.mark.parametrize("scene", SCENES, ids=lambda scene: scene.id)
def test_a_situation_gets_the_steps_and_the_reasons_that_are_expected(scene: Scene) -> None:
    plan = plan_of(scene)
    steps = taken(plan)
    rest = iter(steps)
    assert all(step in rest for step in scene.steps), steps
    assert not set(scene.never) & set(steps)
    assert set(scene.because) <= said_by(plan)
    assert plan.fit_when
    assert scene.procedure in ("", plan.situation)
