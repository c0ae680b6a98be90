"""What goes in and what is left alone: aims, doubt, the feeder, chance."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from advice.scenes import (
    CLEAR,
    FULL_SHELF,
    NOW,
    SHELF,
    TUB,
    a_test,
    doses,
    reading,
)
from tubwater.advice import Wishes
from tubwater.facts import Quantity
from tubwater.services import plan_for
from tubwater.tub import (
    Clarity,
    Dosed,
    Event,
    FeederSet,
    Noticed,
    Shelf,
    StepKind,
)
from tubwater.tub import (
    Tested as Readings,
)


@pytest.mark.parametrize("ph", [7.0, 7.2, 7.4, 7.8])
def test_alkalinity_inside_its_aim_gets_no_bicarbonate(ph: float) -> None:
    rest = reading(Quantity.TOTAL_ALKALINITY, 80.0, "drop-titration")
    events = [CLEAR, Readings(NOW, (*a_test(4.0, ph, method="photometer").readings, rest))]
    assert "sodium-bicarbonate" not in doses(plan_for(TUB, SHELF, events, NOW))


@pytest.mark.parametrize(("ph", "alkalinity"), [(7.3, 140.0), (7.4, 200.0), (7.6, 160.0), (7.8, 100.0), (8.2, 90.0)])
def test_acid_never_takes_the_middle_of_the_ph_under_its_aim(ph: float, alkalinity: float) -> None:
    rest = reading(Quantity.TOTAL_ALKALINITY, alkalinity, "drop-titration")
    events = [CLEAR, Readings(NOW, (*a_test(4.0, ph, method="photometer").readings, rest))]
    plan = plan_for(TUB, SHELF, events, NOW)
    acid = [s for s in plan.steps if s.amount and s.amount.substance == "sodium-bisulfate"]
    for step in acid:
        assert next(e.median for e in step.expected if e.quantity is Quantity.PH) >= 7.2 - 0.02


def test_a_dose_that_nobody_is_sure_of_is_answered_by_a_test_and_not_by_acid_or_base() -> None:
    unsure = Dosed(NOW - timedelta(minutes=50), "dry acid", 60.0, certain=False)
    before = a_test(4.0, 8.2, 120.0, method="photometer", at=NOW - timedelta(hours=1))
    plan = plan_for(TUB, SHELF, [before, unsure, CLEAR], NOW)
    assert not {"sodium-bisulfate", "sodium-carbonate", "sodium-bicarbonate"} & set(doses(plan))
    first = next(s for s in plan.steps if s.kind is StepKind.TEST)
    assert first.quantities == (Quantity.PH,) or plan.situation == "test-first"


def test_soft_water_in_use_gets_calcium_to_well_inside_its_aim() -> None:
    read = reading(Quantity.CALCIUM_HARDNESS, 20.0, "drop-titration")
    events = [CLEAR, Readings(NOW, (*a_test(4.0, 7.5, 90.0, method="photometer").readings, read))]
    plan = plan_for(TUB, FULL_SHELF, events, NOW)
    calcium = [s for s in plan.steps if s.amount and s.amount.substance == "calcium-chloride-dihydrate"]
    after = next(e.median for e in calcium[-1].expected if e.quantity is Quantity.CALCIUM_HARDNESS)
    assert 110.0 < after < 160.0


@pytest.mark.parametrize(("bromine", "shelf"), [(0.0, SHELF), (3.0, SHELF), (0.0, Shelf(SHELF.products[4:]))])
def test_the_feeder_holds_no_more_than_it_takes_whatever_is_missing(bromine: float, shelf: Shelf) -> None:
    busy = replace(TUB, soaks_per_week=10.0, people_per_soak=4.0)
    plan = plan_for(busy, shelf, [CLEAR, a_test(bromine, 7.5, 90.0)], NOW, Wishes(days=14.0))
    feeder = next(s for s in plan.steps if s.kind is StepKind.SET_FEEDER)
    assert 0 <= feeder.tablets <= 6


def test_the_feeder_step_tells_the_total_and_what_is_to_be_added() -> None:
    filled = FeederSet(NOW - timedelta(days=7), "tablets", 3.0, 0.5)
    plan = plan_for(TUB, SHELF, [filled, CLEAR, a_test(3.0, 7.5, 90.0)], NOW)
    feeder = next(s for s in plan.steps if s.kind is StepKind.SET_FEEDER)
    told = feeder.reasons[0].values
    assert 1.0 <= float(told["left"]) <= 3.0
    assert feeder.tablets == float(told["left"]) + float(told.get("add", 0.0)) - float(told.get("out", 0.0))


def test_the_plan_does_not_hang_on_the_minute_at_which_it_is_asked_for() -> None:
    def planned(minutes: int, seed: int) -> dict[str, float]:
        events = [CLEAR, a_test(4.0, 7.5, 100.0, method="photometer")]
        plan = plan_for(TUB, SHELF, events, NOW + timedelta(minutes=minutes), seed=seed)
        return {s.amount.substance: s.amount.grams for s in plan.steps if s.amount}

    first = planned(0, 0)
    assert [planned(minutes, 0) for minutes in (1, 7, 20)] == [first] * 3
    for other in (
        planned(0, 1),
        planned(0, 2),
    ):  # another draw of the possible tubs moves no dose by more than a measure
        for substance in {*first, *other} - {"bcdmh"}:
            assert abs(other.get(substance, 0.0) - first.get(substance, 0.0)) <= 7.5


def test_a_ph_that_read_low_twice_is_raised_even_where_the_alkalinity_read_well() -> None:
    first = a_test(5.0, 6.8, 80.0)
    second = Readings(NOW, (replace(first.readings[1], at=NOW - timedelta(minutes=2)),))
    events: list[Event] = [Noticed(NOW, Clarity.CLEAR), replace(second, at=NOW - timedelta(minutes=2)), first]
    plan = plan_for(TUB, SHELF, events, NOW)
    raised = [s for s in plan.steps if s.amount and s.amount.substance in ("sodium-bicarbonate", "sodium-carbonate")]
    assert raised
    after = {e.quantity: e.median for e in raised[-1].expected}
    before = next(r for r in plan.verdict.reasons if r.kind.startswith("reading"))
    assert after[Quantity.PH] > float(before.values["value"])
