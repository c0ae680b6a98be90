"""Outlook: bands, soaks that may come, when to test, and what if."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from tubwater.advice import judge
from tubwater.errors import InputError
from tubwater.facts import Quantity
from tubwater.facts.quantity import OxidantScale
from tubwater.services.advise import case_of
from tubwater.services.outlook import SATURATION, Outlook, Scenario, outlook_for, outlook_of
from tubwater.tub import (
    Answer,
    Clarity,
    Event,
    FeederSet,
    Noticed,
    Product,
    Reading,
    Sanitizer,
    Shelf,
    Tub,
    VerdictKind,
)
from tubwater.tub import Tested as Readings

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
TUB = Tub("cabin", 1300.0, Sanitizer.BROMINE, soaks_per_week=3.0)
SHELF = Shelf(
    (
        Product("oxidizer", "monopersulfate", 0.88),
        Product("tablets", "bcdmh", 0.96, tablet_grams=20.0),
    )
)


def a_test(bromine: float = 5.0, ph: float = 7.5, method: str = "photometer", at: datetime = NOW) -> Readings:
    scale = OxidantScale.AS_BR2
    return Readings(
        at,
        (
            Reading(Quantity.BROMINE, bromine, bromine, "mg/L", method, at, scale),
            Reading(Quantity.PH, ph, ph, "pH", method, at),
            Reading(Quantity.TOTAL_ALKALINITY, 100.0, 100.0, "mg/L", "strip", at),
        ),
    )


EVENTS: list[Event] = [Noticed(NOW, Clarity.CLEAR), a_test(), FeederSet(NOW, "tablets", 3, 0.5)]


def outlook(scenario: Scenario | None = None, days: float = 7.0, events: list[Event] = EVENTS) -> Outlook:
    return outlook_for(TUB, SHELF, events, NOW, days, scenario, seed=3, members=300)


def at_end(found: Outlook, quantity: str = "bromine") -> float:
    return float(found.bands[quantity][2, -1])


def test_bands_are_ordered_begin_at_the_test_and_widen() -> None:
    found = outlook()
    assert found.times[0] == NOW
    assert len(found.times) == 7 * 24 + 1
    for band in found.bands.values():
        assert band.shape == (5, len(found.times))
        assert (np.diff(band, axis=0) >= 0.0).all()
    assert found.bands["bromine"][2, 0] == pytest.approx(5.0, abs=0.5)
    ph = found.bands["pH"]
    assert ph[4, -1] - ph[0, -1] > ph[4, 0] - ph[0, 0]


def test_probabilities_are_probabilities_and_all_together_is_never_likelier_than_one_alone() -> None:
    found = outlook()
    assert set(found.in_bands) == {"bromine", "pH", "total alkalinity", "calcium hardness", SATURATION}
    for single in found.in_bands.values():
        assert ((single >= 0.0) & (single <= 1.0)).all()
        assert (found.in_band <= single + 1e-12).all()


def test_maybe_too_low_comes_no_later_than_likely_too_low_and_the_next_test_no_later_than_that() -> None:
    found = outlook(Scenario(tablets=0.0))
    assert found.falls_maybe is not None
    assert found.falls_likely is not None
    assert NOW < found.falls_maybe <= found.falls_likely
    assert NOW < found.next_test.at <= found.falls_maybe + timedelta(hours=1)


def test_a_reading_loses_its_weight_with_age_even_where_the_water_holds() -> None:
    away = Scenario(away_from=NOW, away_until=NOW + timedelta(days=7))
    found = outlook(away)
    assert found.next_test.at <= NOW + timedelta(hours=24)


@pytest.mark.parametrize("bromine", [4.0, 5.0, 6.0])
def test_the_next_test_is_due_no_later_than_fit_holds(bromine: float) -> None:
    """One time beside the tub and in what is due, not one an hour after the other; the feeder is empty."""
    events = [Noticed(NOW, Clarity.CLEAR, unlogged_soak=Answer.NO), a_test(bromine)]
    case = case_of(TUB, SHELF, events, NOW, members=300)
    verdict = judge(case)
    assert verdict.kind is VerdictKind.FIT and verdict.good_until < NOW + timedelta(hours=24)
    found = outlook_of(case, 3.0)
    assert found.next_test.reason.kind == "no-longer-sure"
    assert NOW < found.next_test.at <= verdict.good_until


def test_nobody_may_go_by_a_forecast_without_any_reading() -> None:
    found = outlook(events=[Noticed(NOW, Clarity.CLEAR)])
    assert found.next_test.at == NOW


def test_a_party_takes_bromine_and_a_week_away_spares_it() -> None:
    usual = outlook()
    party = outlook(Scenario(party_at=NOW + timedelta(days=1), party_people=6.0, party_minutes=120.0))
    away = outlook(Scenario(away_from=NOW, away_until=NOW + timedelta(days=8)))
    after = 36
    assert party.bands["bromine"][2, after] < usual.bands["bromine"][2, after] - 1.0
    assert at_end(away) > at_end(usual)
    assert party.bands["pH"][2, 26] > usual.bands["pH"][2, 26]  # two hours of jets drive carbon dioxide out


def test_a_wider_feeder_and_a_dose_after_each_soak_keep_more_bromine() -> None:
    usual = outlook()
    assert at_end(outlook(Scenario(opening=1.0))) > at_end(usual)
    assert at_end(outlook(Scenario(after_soak_product="oxidizer", after_soak_grams=6.0))) > at_end(usual)


def test_a_better_test_holds_at_least_as_long() -> None:
    old: list[Event] = [Noticed(NOW, Clarity.CLEAR), a_test(method="strip", at=NOW - timedelta(hours=20)), *EVENTS[2:]]
    strip, photometer = (
        outlook(Scenario(test_now=method), events=old).test_holds for method in ("strip", "photometer")
    )
    assert strip is not None
    assert photometer is not None
    assert 0.0 <= strip <= photometer <= 24.0


def test_the_same_seed_gives_the_same_outlook() -> None:
    first, second = outlook(), outlook()
    assert first.times == second.times
    assert all(np.array_equal(first.bands[name], second.bands[name]) for name in first.bands)


@pytest.mark.parametrize(
    ("days", "scenario"),
    [
        (0.0, Scenario()),
        (400.0, Scenario()),
        (7.0, Scenario(opening=1.5)),
        (7.0, Scenario(tablets=-1.0)),
        (7.0, Scenario(test_now="tea leaves")),
        (7.0, Scenario(after_soak_product="unknown", after_soak_grams=5.0)),
        (7.0, Scenario(away_from=NOW)),
        (7.0, Scenario(away_from=NOW + timedelta(days=2), away_until=NOW + timedelta(days=1))),
    ],
)
def test_an_impossible_question_is_refused(days: float, scenario: Scenario) -> None:
    with pytest.raises(InputError):
        outlook(scenario, days)
