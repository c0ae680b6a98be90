"""Who will bathe, as told and as noted; and the smallest shock that holds."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np

from tubwater.advice.decide import kit_of, oxidizer_to
from tubwater.advice.evenings import evenings
from tubwater.advice.shock import shock_to_hold
from tubwater.facts import Quantity, defaults
from tubwater.facts.quantity import OxidantScale
from tubwater.services.advise import case_of
from tubwater.tub import Clarity, Equipment, Event, Noticed, Product, Reading, Sanitizer, Shelf, Soaked, Tub
from tubwater.tub import Tested as Readings

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
SHELF = Shelf((Product("oxidizer", "monopersulfate", 0.88), Product("tablets", "bcdmh", 0.96, tablet_grams=20.0)))


def tub(per_week: float) -> Tub:
    return Tub("cabin", 1300.0, Sanitizer.BROMINE, soaks_per_week=per_week, people_per_soak=2.0, minutes_per_soak=30.0)


def a_test(at: datetime, bromine: float) -> list[Event]:
    read = Reading(Quantity.BROMINE, bromine, bromine, "mg/L", "photometer", at, OxidantScale.AS_BR2)
    ph = Reading(Quantity.PH, 7.5, 7.5, "pH", "photometer", at)
    return [Noticed(at, Clarity.CLEAR), Readings(at, (read, ph))]


def a_week_of(events: list[Event], per_week: float) -> tuple[float, float]:
    """Soaks a week and people a soak that are expected."""
    case = case_of(tub(per_week), SHELF, events, NOW, members=300)
    coming = evenings(case, 7, 4000, np.random.default_rng(1))
    bathed = coming.people > 0.0
    return float(bathed.sum(axis=0).mean()), float(coming.people[bathed].mean())


def test_before_any_soak_people_bathe_as_was_told() -> None:
    per_week, people = a_week_of(a_test(NOW, 4.0), 3.0)
    assert abs(per_week - 3.0 - defaults()["unlogged_soaks_per_week"].value) < 0.2
    assert abs(people - 2.0) < 0.1


def test_what_the_logbook_shows_takes_over_from_what_was_told() -> None:
    begin = NOW - timedelta(weeks=8)
    soaks = [Soaked(begin + timedelta(days=1.4 * k), 4.0, 30.0) for k in range(40)]
    per_week, people = a_week_of([*a_test(begin, 4.0), *soaks], 1.0)
    assert 3.5 < per_week < 5.5
    assert people > 3.4


def test_a_shock_is_smaller_where_the_sanitizer_lasts_longer() -> None:
    table, found = defaults(), []
    for equipment in (Equipment(), Equipment(ozone_or_uv=True)):
        case = case_of(replace(tub(3.0), equipment=equipment), SHELF, a_test(NOW, 0.5), NOW, members=500)
        kit = kit_of(case)
        found.append(shock_to_hold(case, kit))
        least, most = table["shock_mg"].low, table["shock_most_mg"].value
        assert oxidizer_to(case, kit, least) <= found[-1] <= oxidizer_to(case, kit, most)
    assert found[0] < found[1]
