"""Far too much sanitizer, and days until the next visit: what holds once it has fallen (each as a keeper reads it)."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from advice.purpose_scenes import notes
from advice.scenes import CLEAR, FULL_SHELF, NOW, TUB, reading
from tubwater.advice import Wishes
from tubwater.facts.quantity import Quantity
from tubwater.services import plan_for
from tubwater.services.soaks import answer_to_soak
from tubwater.tub import Dosed, Event, FeederSet, Plan, StepKind
from tubwater.tub import Tested as Readings

FED = FeederSet(NOW - timedelta(days=1.0), "tablets", 3, 1.0)


def found(bromine: float, days: float, *before: Event) -> Plan:
    """The plan on drops that read so much."""
    drops = Readings(NOW, (reading(Quantity.BROMINE, bromine, "fas-dpd-drops"), reading(Quantity.PH, 7.5)))
    return plan_for(TUB, FULL_SHELF, [FED, CLEAR, *before, drops], NOW, Wishes(days=days))


@pytest.mark.parametrize("bromine", [11.0, 14.0, 20.0])
def test_a_week_without_the_keeper_does_not_go_without_sanitizer(bromine: float) -> None:
    plan = found(bromine, 7.0)
    assert plan.situation == "too-high"
    (told,) = (r for r in plan.notes if r.kind == "tablets-back-in")
    assert float(told.values["count"]) >= 1.0 and float(told.values["high"]) == 10.0
    assert datetime.fromisoformat(str(told.values["time"])) > NOW
    assert answer_to_soak(plan, FULL_SHELF, 2.0, 30.0).amount is None  # a soak all the same raises nothing


def test_the_more_there_is_the_later_the_tablets_go_back() -> None:
    plans = [found(bromine, 7.0) for bromine in (11.0, 14.0, 20.0)]
    times = [str(r.values["time"]) for plan in plans for r in plan.notes if r.kind == "tablets-back-in"]
    assert times == sorted(set(times)) and len(times) == 3


def test_the_feeder_itself_stays_out_until_the_test() -> None:
    plan = found(14.0, 7.0)
    fed = [s for s in plan.steps if s.kind is StepKind.SET_FEEDER]
    assert [s.tablets for s in fed] == [0.0]
    assert not any(s.kind is StepKind.DOSE for s in plan.steps)
    assert plan.steps[-1].kind is StepKind.TEST


def test_where_somebody_comes_the_next_day_that_plan_decides() -> None:
    plan = found(14.0, 1.0)
    assert plan.situation == "too-high" and "tablets-back-in" not in notes(plan)


def test_of_a_bleached_colour_nothing_is_planned_on() -> None:
    plan = found(0.0, 7.0, Dosed(NOW - timedelta(hours=2.0), "oxidizer", 80.0))
    assert plan.situation == "too-high" and "tablets-back-in" not in notes(plan)
