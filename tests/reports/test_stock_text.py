"""The shelf in words: every kind has a text, all within 80 columns, and doubt is said."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import cache

import pytest

from tubwater.advice import Situation, Wishes, make_plan
from tubwater.advice.needs import NEEDS
from tubwater.reports.stock import money, render_shelf
from tubwater.reports.text import kinds
from tubwater.services.advise import case_of
from tubwater.services.stock import ShelfReport, shelf_of
from tubwater.services.tubfile import UnitSystem
from tubwater.tub import (
    Dosed,
    FeederSet,
    Filled,
    Package,
    Product,
    Quantity,
    Reading,
    Reagents,
    Sanitizer,
    Shelf,
    Soaked,
    Tub,
)
from tubwater.tub import Tested as Readings

NOW = datetime(2026, 11, 25, 9, tzinfo=UTC)
COUNTED = NOW - timedelta(days=20)
SHELF = Shelf(
    (
        Product("oxidizer", "monopersulfate", 0.88, (), 900.0, package=Package(1000.0, 14.0, "EUR", counted=COUNTED)),
        Product("dry acid", "sodium-bisulfate", 0.93, (), 10.0, package=Package(counted=COUNTED)),
        Product("tablets", "bcdmh", 0.96, (), 600.0, 20.0, package=Package(expires=date(2026, 1, 1))),
        Product("bicarbonate", "sodium-bicarbonate", 0.99, package=Package(2000.0, opened=date(2026, 11, 1))),
        Product("granules", "dichlor", 0.99),
        Product("no label", "sodium-carbonate"),
    )
)
PACKS = (Reagents("strip", "in the drawer", expires=date(2026, 11, 1)), Reagents("photometer"))
EVENTS = (
    Filled(NOW - timedelta(days=40)),
    FeederSet(NOW - timedelta(days=30), "tablets", 3.0, 0.5),
    *(Dosed(NOW - timedelta(days=d), "oxidizer", 10.0, 0.2) for d in (2, 9, 16, 23)),
    Dosed(NOW - timedelta(days=5), "dry acid", 30.0, 0.2),
    Soaked(NOW - timedelta(days=4), 2.0, 30.0),
    Readings(NOW - timedelta(hours=1), (Reading(Quantity.PH, 7.4, 7.4, "pH", "strip", NOW - timedelta(hours=1)),)),
)


@cache
def report() -> ShelfReport:
    case: Situation = case_of(Tub("invented", 1300.0, Sanitizer.BROMINE), SHELF, EVENTS, NOW, members=80)
    offers = Shelf((Product("muriatic acid", "hydrochloric-acid", 0.31, package=Package(5800.0, 9.0, "EUR")),))
    return shelf_of(case, make_plan(case, Wishes()), PACKS, offers)


def test_every_need_has_words() -> None:
    assert set(NEEDS) == set(kinds("need"))


@pytest.mark.parametrize("units", list(UnitSystem))
def test_the_shelf_fits_into_80_columns_in_both_systems(units: UnitSystem) -> None:
    said = render_shelf(report(), units)
    assert max(map(len, said.splitlines())) <= 80
    assert ("oz" in said) is (units is UnitSystem.US)


def test_what_is_doubtful_or_old_or_wrong_here_is_said() -> None:
    said = " ".join(render_shelf(report()).split())
    assert "A test strip (in the drawer): past its date since 1 Nov 2026" in said and "doubtful" in said
    assert "past its date since 1 Jan 2026" in said
    assert "isocyanurate products do not go into a bromine tub" in said
    assert "tablets, about 56 g: past its date since 1 Jan 2026; needed now." in said
    assert ": of it 0.098 EUR oxidizer." in said
    assert "20 g more were logged than there was" in said
    assert "Used up" in said and "no date is known" in said


def test_an_empty_shelf_is_no_error() -> None:
    bare = replace(
        report(),
        pots=(),
        packs=(),
        doubtful=(),
        shopping=(),
        cheapest=(),
        never=(),
        places=(),
        money=replace(report().money, costs=(), unpriced=()),
    )
    assert "Nothing stands on the shelf" in render_shelf(bare)


def test_small_amounts_of_money_keep_their_figures() -> None:
    assert (money(0.0123, "EUR"), money(12.3, "EUR"), money(0.0, "EUR")) == ("0.012 EUR", "12.30 EUR", "0.00 EUR")
