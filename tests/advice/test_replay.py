"""The believed tubs at the end of a plan."""

from __future__ import annotations

import numpy as np
import pytest

from advice.scenes import CLEAR, FULL_SHELF, NOW, a_test, filled_tub, kinds, reading
from tubwater.advice import Wishes, make_plan
from tubwater.advice.replay import replayed
from tubwater.facts import Quantity
from tubwater.services.advise import case_of
from tubwater.tub import StepKind
from tubwater.tub import Tested as Readings


def test_a_part_that_is_changed_is_changed_at_the_end_too() -> None:
    hard = (*a_test(4.0, 7.4, 80.0).readings, reading(Quantity.CALCIUM_HARDNESS, 600.0, "drop-titration"))
    soft = filled_tub(total_alkalinity=60.0, calcium_hardness=60.0, ph=7.5)
    case = case_of(soft, FULL_SHELF, [CLEAR, Readings(NOW, hard)], NOW, members=200)
    plan = make_plan(case, Wishes())
    assert StepKind.DRAIN in kinds(plan)
    (told,) = (e for step in plan.steps for e in step.expected if e.quantity is Quantity.CALCIUM_HARDNESS)
    (found,) = replayed(case, plan, 0).expect(Quantity.CALCIUM_HARDNESS)
    assert found.median == pytest.approx(told.median, rel=0.05) and found.median < 500.0


def test_a_plan_without_a_change_leaves_the_hardness_alone() -> None:
    case = case_of(filled_tub(), FULL_SHELF, [CLEAR, a_test(4.0, 7.4, 80.0)], NOW, members=200)
    end = replayed(case, make_plan(case, Wishes()), 0)
    before = float(np.median(case.observer.read(Quantity.CALCIUM_HARDNESS)))
    assert end.expect(Quantity.CALCIUM_HARDNESS)[0].median == pytest.approx(before, rel=0.01)
