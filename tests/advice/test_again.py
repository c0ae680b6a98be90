"""What is left of a visit that is planned anew."""

from __future__ import annotations

from dataclasses import replace

import pytest

from advice.scenes import SHELF, TUB
from advice.test_running import NOW, PLAN, at, said
from tubwater.advice import Situation, Wishes, again
from tubwater.advice.beside_tub import What
from tubwater.advice.running import fold
from tubwater.services.advise import case_of
from tubwater.tub import Step, StepKind

LET_OUT = Step(StepKind.DRAIN, litres=1300.0, minutes=60.0)
FILLED = Step(StepKind.FILL, litres=1300.0, minutes=60.0)
HEATED = Step(StepKind.HEAT, minutes=600.0)
LOOKED = Step(StepKind.TEST)
RINSED = replace(PLAN, steps=(FILLED, HEATED, LOOKED, LET_OUT, FILLED, HEATED))


@pytest.fixture(scope="module")
def case() -> Situation:
    return case_of(TUB, SHELF, [], NOW, members=16)


@pytest.mark.parametrize(
    ("anew", "left"),
    [
        ((FILLED, HEATED, LOOKED, LET_OUT, FILLED, HEATED), (LOOKED, LET_OUT, FILLED, HEATED)),
        ((HEATED, LET_OUT, FILLED), (LET_OUT, FILLED)),
        ((FILLED, HEATED, LOOKED), (LOOKED,)),
    ],
)
def test_what_was_filled_is_filled_again_only_after_it_is_let_out_again(
    case: Situation, monkeypatch: pytest.MonkeyPatch, anew: tuple[Step, ...], left: tuple[Step, ...]
) -> None:
    monkeypatch.setattr(again, "make_plan", lambda case, wishes: replace(PLAN, steps=anew))
    left_out = said(What.SKIPPED, 662.0, "0.2")
    done = [said(What.DONE, 60.0, "0.0"), said(What.DONE, 660.0, "0.1"), left_out]
    state = fold([said(What.BEGUN, 0.0, plan=RINSED), *done], at(662.0), {})
    plan = again.plan_rest(case, state, left_out, Wishes(), at(662.0))
    assert [s.kind for s in plan.steps if s.kind is not StepKind.WAIT] == [s.kind for s in left]
