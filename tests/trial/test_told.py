"""The plans that are told the hidden tub see its water and its rates, and nothing of the verdict's readings changes."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest
from trial.keeping import Choices, Moment, scene_of
from trial.oracle import Oracle
from trial.policies import Ours
from trial.tank import BR2, ROWS, Tank
from trial.told import Told

from tubwater.facts.quantity import OxidantScale, Quantity
from tubwater.tub import Reading
from tubwater.tub import Tested as Readings

CHOICES = Choices(weeks=2, members=40)
AT = datetime(2026, 1, 5, tzinfo=UTC)


@pytest.fixture(scope="module")
def moment() -> Moment:
    scene = scene_of(2, CHOICES)
    tank = Tank.filled(scene.nature, scene.start, scene.start_ph, Oracle())
    read = Reading(Quantity.BROMINE, 9.0, 9.0, "mg/L", "fas-dpd-drops", AT, OxidantScale.AS_BR2)
    return Moment(0.0, 7.0, [Readings(AT, (read,))], tank, scene, CHOICES)


def test_the_water_is_the_tanks_in_every_member(moment: Moment) -> None:
    case, tank = Told().case(moment), moment.tank
    for quantity, true in ((Quantity.BROMINE, tank.bromine), (Quantity.TOTAL_ALKALINITY, tank.alkalinity)):
        assert case.observer.read(quantity) == pytest.approx(np.repeat(true, CHOICES.members), rel=0.01)
    # another code and its constants
    assert case.state.ph == pytest.approx(np.repeat(tank.ph, CHOICES.members), abs=0.05)
    assert case.state.water.demand + case.state.water.reductant == pytest.approx(
        np.repeat(tank.x[ROWS.index("FAST")] + tank.x[ROWS.index("LAG")], CHOICES.members)
    )


def test_the_rates_are_the_hidden_tubs(moment: Moment) -> None:
    rates, nature = Told().case(moment).rates, moment.scene.nature
    assert rates.litres == pytest.approx(np.full(CHOICES.members, nature.litres))
    assert rates.demand * BR2 == pytest.approx(np.full(CHOICES.members, nature.bather * nature.wander(2, 72.0)))


def test_a_scoop_that_gives_more_counts_as_a_stronger_product(moment: Moment) -> None:
    told, ours = (policy.case(moment).products.compositions for policy in (Told(), Ours()))
    factor = moment.scene.house.scoop["monopersulfate"] * moment.scene.nature.strength["monopersulfate"]
    assert told["oxidizer"].oxidant == pytest.approx(factor * ours["oxidizer"].oxidant)


def test_what_was_read_stays_what_was_read(moment: Moment) -> None:
    told, ours = (policy.case(moment) for policy in (Told(), Ours()))
    assert told.last_valid(Quantity.BROMINE) == ours.last_valid(Quantity.BROMINE) is not None
