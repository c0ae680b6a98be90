"""Visits shorter than their work: what stays, what is handed over, what is left."""

from __future__ import annotations

from datetime import datetime, timedelta
from itertools import pairwise

import numpy as np
import pytest

from advice.scenes import (
    CALCIUM,
    CLEAR,
    FULL_SHELF,
    NOW,
    SHELF,
    TUB,
    a_test,
    doses,
    kinds,
)
from tubwater.advice import Wishes
from tubwater.advice.safety import cap_grams
from tubwater.advice.short import Visit, Wanted, within
from tubwater.advice.timeline import Timeline
from tubwater.facts import Quantity
from tubwater.services import plan_for
from tubwater.services.advise import case_of
from tubwater.tub import (
    Cared,
    Event,
    Plan,
    Reason,
    StepKind,
)


def left(plan: Plan) -> dict[str, float]:
    """Grams that are left for the next visit, by product."""
    return {str(r.values["product"]): float(r.values["grams"]) for r in plan.notes if r.kind == "left-for-next-visit"}


HIGH_PH = [CLEAR, a_test(4.0, 8.2, 140.0, method="photometer")]


def test_twenty_five_minutes_lower_a_ph_that_is_out_before_the_routine_oxidizer() -> None:
    plan = plan_for(TUB, SHELF, HIGH_PH, NOW, Wishes(minutes=25.0))
    assert doses(plan) == ["sodium-bisulfate"]
    assert max(s.starts_at + s.minutes for s in plan.steps) <= 25.0
    assert "tablets" in left(plan) and all(grams > 0.0 for grams in left(plan).values())


def test_in_a_recovery_the_oxidizer_stays_in_a_short_visit_and_the_acid_waits() -> None:
    plan = plan_for(TUB, SHELF, [CLEAR, a_test(1.0, 8.0, 140.0, method="photometer")], NOW, Wishes(minutes=25.0))
    assert doses(plan) == ["monopersulfate"]
    assert left(plan)["dry acid"] > 0.0
    assert "clean-later" in {r.kind for r in plan.notes}


def test_where_the_whole_does_not_fit_the_first_part_goes_in() -> None:
    case = case_of(TUB, FULL_SHELF, [CLEAR, a_test(4.0, 7.3, 80.0, method="photometer")], NOW, members=64)
    calcium, litres = Wanted("calcium", CALCIUM, 350.0), float(np.median(case.rates.litres))

    def written(visit: Visit) -> Timeline:
        line = Timeline(case, 0)
        for item in visit.wanted:
            line.dose(item.product, item.grams, Reason("raise-calcium"), Quantity.CALCIUM_HARDNESS, 13.0)
        line.close()
        return line

    assert [s.parts for s in written(Visit((calcium,))).steps if s.kind is StepKind.DOSE] == [2, 2]
    visit, line = within(Visit((calcium,)), 45.0, (), litres, written)
    assert [s.parts for s in line.steps if s.kind is StepKind.DOSE] == [1] and line.clock <= 45.0
    assert visit.wanted[0].grams == cap_grams(CALCIUM, litres) < 350.0
    assert visit.left[0].grams == pytest.approx(350.0 - visit.wanted[0].grams)


def test_ten_minutes_add_nothing_and_leave_the_cover_closed() -> None:
    plan = plan_for(TUB, SHELF, HIGH_PH, NOW, Wishes(minutes=10.0))
    assert doses(plan) == [] and kinds(plan)[-1] is StepKind.COVER
    assert "nothing-fits" in {r.kind for r in plan.notes}


def test_what_is_handed_over_says_how_much_from_when_how_long_to_wait_and_what_to_mind() -> None:
    plan = plan_for(TUB, SHELF, HIGH_PH, NOW, Wishes(minutes=25.0, later_by="the neighbour"))
    handed = [s for s in plan.steps if s.kind is StepKind.HAND_OVER]
    assert handed[-1].quantities == (Quantity.BROMINE, Quantity.PH)
    times = []
    for step in handed[:-1]:
        assert step.by == "the neighbour" and step.amount is not None and step.amount.grams > 0.0
        assert {"one-container", "nobody-in"} <= set(step.cautions)
        assert float(step.reasons[0].values["wait"]) >= 20.0
        assert ("opening" in step.reasons[0].values) is (step.amount.substance == "bcdmh")
        times.append(datetime.fromisoformat(str(step.reasons[0].values["time"])))
    assert times and min(times) >= NOW + timedelta(minutes=24)
    assert all(later - earlier >= timedelta(minutes=20) for earlier, later in pairwise(times))


def test_the_weekly_rinse_of_the_filter_stands_before_the_water_moves_where_it_is_due_and_there_is_time() -> None:
    """Once a week, pump off (common practice)."""
    plan = plan_for(TUB, SHELF, HIGH_PH, NOW, Wishes(minutes=90.0))
    rinse = next(n for n, s in enumerate(plan.steps) if s.task == "rinse-filter")
    assert "electric-off" in plan.steps[rinse].cautions
    assert plan.steps[rinse + 1].kind is StepKind.PREPARE
    assert plan.steps[rinse + 1].starts_at == plan.steps[rinse].starts_at + plan.steps[rinse].minutes
    assert max(s.starts_at + s.minutes for s in plan.steps) <= 90.0
    short = plan_for(TUB, SHELF, HIGH_PH, NOW, Wishes(minutes=25.0))
    assert "rinse-filter" not in {s.task for s in short.steps}


@pytest.mark.parametrize(("days", "due"), [(6.0, False), (8.0, True)])
def test_a_filter_that_was_rinsed_is_due_a_week_later(days: float, due: bool) -> None:
    done: list[Event] = [Cared(NOW - timedelta(days=days), "rinse-filter"), CLEAR, a_test(4.0, 7.5, 90.0)]
    plan = plan_for(TUB, SHELF, done, NOW, Wishes(minutes=90.0))
    assert ("rinse-filter" in {s.task for s in plan.steps}) is due
