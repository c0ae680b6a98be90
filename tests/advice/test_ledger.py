"""The ledger: dilution and bather-uses as calculated, which rule sets the date, and what is not known."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tubwater.advice import Situation
from tubwater.advice.ledger import Ledger, ledger_of, remaining, water_change
from tubwater.facts import guidelines
from tubwater.facts.drain import DrainKind, drain_rules
from tubwater.services.advise import case_of
from tubwater.tub import (
    Dosed,
    Drained,
    Event,
    FeederSet,
    Filled,
    Noticed,
    Product,
    Sanitizer,
    Setting,
    Shelf,
    Sign,
    Soaked,
    Tub,
    VolumeBasis,
)

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
SHELF = Shelf(
    (
        Product("tablets", "bcdmh", 1.0, tablet_grams=20.0),
        Product("bromide", "sodium-bromide", 1.0),
        Product("oxidizer", "monopersulfate", 0.88),
        Product("dichlor", "dichlor", 1.0),
    )
)


def case(events: list[Event], **about: object) -> Situation:
    """A tub of 1,500 metered litres without a test, so that nothing but the prior and the log speaks."""
    described: dict[str, object] = {"volume_basis": VolumeBasis.METERED, "soaks_per_week": 7.0, "people_per_soak": 2.0}
    tub = Tub("invented", 1500.0, **{"sanitizer": Sanitizer.BROMINE, **described, **about})  # type: ignore[arg-type]
    return case_of(tub, SHELF, events, NOW, members=300)


def days_ago(days: float) -> datetime:
    """A time before now."""
    return NOW - timedelta(days=days)


def date(ledger: Ledger, kind: DrainKind) -> datetime | None:
    """When a rule falls due."""
    return next(d.due for d in ledger.dates if d.rule.kind is kind)


def level(rows: object, key: str) -> float:
    """The median of a row."""
    return next(float(b.now.median) for b in rows if b.key == key)  # type: ignore[attr-defined]


def test_half_twice_leaves_a_quarter() -> None:
    assert remaining(0.5, 2) == pytest.approx(0.25)


def test_one_volume_by_overflow_leaves_a_third() -> None:
    assert remaining(1.0, overflow=True) == pytest.approx(0.3679, abs=1e-4)


@given(st.floats(0.0, 0.99), st.integers(1, 5))
def test_overflow_never_leaves_less_than_letting_the_same_water_out_first(fraction: float, steps: int) -> None:
    assert remaining(fraction, steps, overflow=True) >= remaining(fraction, steps) - 1e-12


def test_two_people_nightly_wear_out_1500_litres_in_75_days() -> None:
    due = date(ledger_of(case([Filled(NOW)])), DrainKind.PEOPLE)
    assert due is not None and (due - NOW).total_seconds() / 86400.0 == pytest.approx(75.0, rel=0.03)


def test_an_unused_tub_is_changed_by_the_calendar() -> None:
    ledger = ledger_of(case([Filled(days_ago(30))], soaks_per_week=0.0))
    assert date(ledger, DrainKind.PEOPLE) is None
    assert ledger.drain_by is not None and ledger.drain_by.rule.kind is DrainKind.CALENDAR
    assert ledger.drain_by.due == days_ago(30) + timedelta(days=91)


def test_a_busy_tub_is_changed_by_the_people() -> None:
    soaks: list[Event] = [Soaked(days_ago(d), 6.0, 30.0) for d in range(1, 20)]
    ledger = ledger_of(case([Filled(days_ago(20)), *soaks]))
    assert ledger.uses == 6.0 * 19 and ledger.uses_basis == "from-log"
    assert ledger.drain_by is not None and ledger.drain_by.rule.kind is DrainKind.PEOPLE


def test_a_partial_drain_takes_its_share_of_the_bathers_away() -> None:
    events: list[Event] = [Filled(days_ago(9)), Soaked(days_ago(8), 10.0, 20.0), Drained(days_ago(7), 750.0)]
    assert ledger_of(case(events)).uses == pytest.approx(5.0, rel=0.02)


def test_letting_all_the_water_out_is_a_new_fill() -> None:
    ledger = ledger_of(case([Filled(days_ago(90)), Soaked(days_ago(80), 40.0, 20.0), Drained(days_ago(5), 1480.0)]))
    assert ledger.since == days_ago(5) and ledger.uses == 0.0


def test_without_a_fill_no_date_is_told() -> None:
    ledger = ledger_of(case([Soaked(days_ago(3), 2.0, 30.0)]))
    assert ledger.since is None and ledger.drain_by is None
    assert all(d.due is None for d in ledger.dates if d.rule.kind in (DrainKind.PEOPLE, DrainKind.CALENDAR))


@pytest.mark.parametrize(
    "noticed", [Noticed(NOW, signs=frozenset({Sign.CONTAMINATION})), Noticed(NOW, lapse_hours=200.0)]
)
def test_an_incident_means_now(noticed: Noticed) -> None:
    ledger = ledger_of(case([Filled(days_ago(1)), noticed]))
    assert ledger.drain_by is not None and ledger.drain_by.rule.kind is DrainKind.INCIDENT
    assert ledger.drain_by.due == NOW


def test_an_incident_is_over_once_the_water_was_changed() -> None:
    events: list[Event] = [Noticed(days_ago(5), signs=frozenset({Sign.CONTAMINATION})), Filled(days_ago(4))]
    assert date(ledger_of(case(events)), DrainKind.INCIDENT) is None


def test_the_bank_holds_the_bromide_that_was_put_in() -> None:
    # 60 g of NaBr hold 46.6 g of Br-, 31.1 mg/L in 1,500 L (calculation)
    ledger = ledger_of(case([Filled(days_ago(1)), Dosed(days_ago(1), "bromide", 60.0)]))
    assert level(ledger.built, "bromide bank") == pytest.approx(31.1, rel=0.03)
    assert ledger.products == {"bromide": 60.0}


def test_tablets_leave_their_hydantoin() -> None:
    # 1 g of BCDMH holds 0.531 g of dimethylhydantoin (calculation); fully dissolved
    ledger = ledger_of(case([Filled(days_ago(60)), Dosed(days_ago(60), "tablets", 100.0)], soaks_per_week=0.0))
    assert level(ledger.built, "hydantoin") == pytest.approx(53.1 / 1.5, rel=0.03)
    due = date(ledger, DrainKind.HYDANTOIN)
    assert due is not None and due > NOW
    assert not next(d for d in ledger.dates if d.rule.kind is DrainKind.HYDANTOIN).rule.basis.verified


def test_a_chlorine_tub_counts_cyanurate_and_no_hydantoin() -> None:
    events: list[Event] = [Filled(days_ago(20)), Dosed(days_ago(20), "dichlor", 100.0)]
    ledger = ledger_of(case(events, sanitizer=Sanitizer.CHLORINE))
    # 1 g of dichlor holds 0.587 g of cyanuric acid (calculation)
    assert level(ledger.built, "cyanuric acid") == pytest.approx(58.7 / 1.5, rel=0.03)
    assert DrainKind.HYDANTOIN not in {d.rule.kind for d in ledger.dates}


def test_advice_never_sets_the_date() -> None:
    ledger = ledger_of(case([Filled(days_ago(10)), FeederSet(days_ago(10), "tablets", 400.0, 1.0)]))
    hydantoin = date(ledger, DrainKind.HYDANTOIN)
    assert ledger.drain_by is not None and ledger.drain_by.rule.decides
    assert hydantoin is not None and ledger.drain_by.due is not None and hydantoin < ledger.drain_by.due


@pytest.mark.parametrize(
    ("guideline", "kind", "days"),
    [
        ("us-public", DrainKind.CALENDAR, 14.0),
        ("uk-business", DrainKind.CALENDAR, 7.0),
        ("who-style", DrainKind.CALENDAR, 1.0),
    ],
)
def test_a_business_follows_its_guideline(guideline: str, kind: DrainKind, days: float) -> None:
    ledger = ledger_of(case([Filled(NOW)], guideline=guideline, setting=Setting.PUBLIC))
    assert ledger.drain_by is not None and ledger.drain_by.rule.kind is kind
    assert ledger.drain_by.due == NOW + timedelta(days=days)


def test_half_of_the_water_satisfies_a_rule_that_asks_for_half() -> None:
    events: list[Event] = [Filled(days_ago(3)), Drained(days_ago(0.5), 760.0)]
    due = date(ledger_of(case(events, guideline="who-style")), DrainKind.CALENDAR)
    assert due == days_ago(0.5) + timedelta(days=1)


@settings(max_examples=15, deadline=None)
@given(st.floats(50.0, 1400.0), st.integers(1, 3))
def test_a_change_brings_every_salt_towards_the_fill_water_by_its_share(litres: float, steps: int) -> None:
    found = water_change(case([Filled(days_ago(2)), Dosed(days_ago(2), "bromide", 60.0)]), litres, steps)
    share = level(found.after, "bromide bank") / level(found.before, "bromide bank")
    assert share == pytest.approx(remaining(litres / 1500.0, steps), abs=0.03)
    assert found.left == pytest.approx(share, abs=0.02)


@pytest.mark.parametrize(("litres", "later"), [(760.0, timedelta(days=2.5)), (400.0, timedelta())])
def test_a_change_says_what_it_does_to_the_date(litres: float, later: timedelta) -> None:
    """A rule that asks for half of the water every day counts anew from a change of half, and from no smaller one."""
    there = case([Filled(days_ago(3)), Drained(days_ago(2.5), 760.0)], guideline="who-style")
    before, found = ledger_of(there).drain_by, water_change(there, litres)
    assert before is not None and before.due is not None and found.drain_by is not None
    assert found.drain_by.due == before.due + later and found.drain_by.rule.kind is DrainKind.CALENDAR


def test_a_change_moves_nothing_that_the_fill_water_has_as_much_of() -> None:
    found = water_change(case([Filled(days_ago(0.1))]), 500.0)
    assert level(found.after, "calcium hardness") == pytest.approx(level(found.before, "calcium hardness"), rel=0.01)


def test_every_guideline_has_rules_and_each_says_how_sure_it_is() -> None:
    assert set(drain_rules()) == set(guidelines())
    for rules in drain_rules().values():
        assert {DrainKind.PEOPLE, DrainKind.CALENDAR, DrainKind.INCIDENT} <= {r.kind for r in rules if r.decides}
        assert all(0.0 < r.share <= 1.0 and r.value >= 0.0 for r in rules)
