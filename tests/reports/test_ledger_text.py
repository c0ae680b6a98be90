"""The ledger in words: the date first, each rule with how sure it is, all within 80 columns."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from tubwater.facts.drain import DrainKind
from tubwater.reports.ledger import drain_words, figure, render_ledger
from tubwater.reports.text import kinds
from tubwater.services.advise import case_of
from tubwater.services.ledger import ledger_of, water_change
from tubwater.services.tubfile import UnitSystem
from tubwater.tub import Dosed, Event, Filled, Product, Sanitizer, Shelf, Soaked, Tub

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
SHELF = Shelf((Product("bromide", "sodium-bromide", 1.0),))


def case(*events: Event):  # type: ignore[no-untyped-def]
    """An invented tub without a test."""
    return case_of(Tub("invented", 1300.0, Sanitizer.BROMINE), SHELF, events, NOW, members=100)


def test_every_rule_and_every_row_has_a_text() -> None:
    assert {f"drain-{kind.value}" for kind in DrainKind} <= set(kinds("reason"))
    bromine, chlorine = (
        ledger_of(case()),
        ledger_of(case_of(Tub("x", 900.0, Sanitizer.CHLORINE), SHELF, (), NOW, members=50)),
    )
    assert {row.key for row in (*bromine.built, *chlorine.built)} <= set(kinds("built"))


def test_the_ledger_fits_into_80_columns_in_both_systems() -> None:
    found = case(
        Filled(NOW - timedelta(days=10)), Dosed(NOW - timedelta(days=9), "bromide", 60.0), Soaked(NOW, 2.0, 30.0)
    )
    for units in UnitSystem:
        text = render_ledger(ledger_of(found), water_change(found, 400.0), units)
        assert max(map(len, text.splitlines())) <= 80
    assert "unverified" in text and "bromide bank" in text


def test_what_a_change_of_part_of_the_water_leaves_is_told_with_its_spread() -> None:
    found = case(Filled(NOW - timedelta(days=10)), Dosed(NOW - timedelta(days=9), "bromide", 60.0))
    change = water_change(found, 400.0)
    text = " ".join(render_ledger(ledger_of(found), change).split())
    for after in change.after:
        low, high = (figure(value, after.unit) for value in (after.now.low, after.now.high))
        assert f"becomes {figure(after.now.median, after.unit)}, likely {low} to {high}" in text


def test_the_date_comes_first_and_what_is_not_known_is_said() -> None:
    dated, undated = ledger_of(case(Filled(NOW))), ledger_of(case(Soaked(NOW, 2.0, 30.0)))
    assert "24 Feb 2027" in drain_words(dated)
    assert drain_words(undated) != drain_words(dated) and undated.drain_by is None
