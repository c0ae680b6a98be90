"""A plan says at its step where the shelf holds less than it takes, and where a product is past its date."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from advice.purpose_scenes import MEMBERS
from advice.scenes import CLEAR, FULL_SHELF, NOW, TUB, a_test
from tubwater.advice import Situation, Wishes, make_plan
from tubwater.advice.stock import left_of, taken_from_shelf
from tubwater.services import case_of
from tubwater.services.stock import shelf_of
from tubwater.tub import FeederSet, Package, Plan, Product, Reason, Shelf, Step

SHORT = {"shelf-has-less", "shelf-has-none"}
LOW = (CLEAR, a_test(1.0, 8.0, 130.0, "photometer"))
FULL = (FeederSet(NOW - timedelta(hours=2), "tablets", 8.0, 0.5), *LOW)


@pytest.fixture(scope="module")
def case() -> Situation:
    return case_of(TUB, FULL_SHELF, LOW, NOW, members=MEMBERS)


@pytest.fixture(scope="module")
def usual(case: Situation) -> Plan:
    return make_plan(case, Wishes())


def changed(case: Situation, name: str, **more: object) -> Situation:
    """The same tub with one pot of the shelf different."""
    products = (replace(p, **more) if p.name == name else p for p in case.shelf.products)  # type: ignore[arg-type]
    return replace(case, shelf=Shelf(tuple(products)))


def takes(plan: Plan, name: str) -> list[Step]:
    return [s for s in plan.steps if s.amount and s.amount.product == name and s.amount.grams > 0.0]


def told(plan: Plan) -> list[Reason]:
    return [r for s in plan.steps for r in s.reasons if r.kind in {*SHORT, "past-its-date"}]


def test_where_nothing_was_counted_nothing_is_told(usual: Plan) -> None:
    assert takes(usual, "oxidizer") and told(usual) == []
    assert not {r.kind for r in usual.shopping} & {"buy-more", "buy-fresh"}


def test_a_step_that_takes_more_than_is_left_says_how_much_goes_in_now_and_what_is_left_for_later(
    case: Situation, usual: Plan
) -> None:
    grams = sum(s.amount.grams for s in takes(usual, "oxidizer") if s.amount)
    plan = make_plan(changed(case, "oxidizer", stock_grams=0.6 * grams), Wishes())
    short = [r for r in told(plan) if r.kind in SHORT]
    assert short and all(r.values["product"] == "oxidizer" for r in short)
    assert sum(float(r.values["rest"]) for r in short) == pytest.approx(0.4 * grams)
    assert [r.kind for r in plan.shopping if r.kind == "buy-more"] == ["buy-more"]


def test_the_same_amounts_are_planned_and_enough_is_not_told_of(case: Situation, usual: Plan) -> None:
    plan = make_plan(changed(case, "oxidizer", stock_grams=1000.0), Wishes())
    assert told(plan) == [] and plan == usual


def test_an_empty_pot_is_looked_into(case: Situation) -> None:
    plan = make_plan(changed(case, "oxidizer", stock_grams=0.0), Wishes())
    assert {r.kind for r in told(plan)} == {"shelf-has-none"}


@pytest.mark.parametrize(("expires", "past"), [(NOW.date(), False), (date(2026, 11, 24), True)])
def test_a_product_past_its_date_is_told_at_its_step(case: Situation, expires: date, past: bool) -> None:
    plan = make_plan(changed(case, "oxidizer", package=Package(expires=expires)), Wishes())
    assert [r.values["day"] for r in told(plan)] == ["2026-11-24"] * len(takes(plan, "oxidizer")) * past
    assert ("buy-fresh" in {r.kind for r in plan.shopping}) is past


def test_tablets_that_are_still_in_the_feeder_are_not_taken_from_the_shelf() -> None:
    filled = case_of(TUB, FULL_SHELF, FULL, NOW, members=MEMBERS)
    plan = make_plan(filled, Wishes())
    for step in takes(plan, "tablets"):
        assert step.amount and taken_from_shelf(filled, step) < step.amount.grams


def test_the_shopping_list_buys_what_the_plan_lacks_once_and_with_its_grams(case: Situation) -> None:
    with_little = changed(case, "oxidizer", stock_grams=5.0, package=Package(1000.0, 14.0, "EUR"))
    plan = make_plan(with_little, Wishes())
    bought = [p for p in shelf_of(with_little, plan).shopping if p.what == "oxidizer"]
    assert [p.reason.kind for p in bought] == ["buy-for-plan"] and bought[0].packages == 1
    left = left_of(with_little, with_little.shelf.products[3]).grams
    assert isinstance(with_little.shelf.products[3], Product) and left and left.value == 5.0


def test_the_shopping_list_replaces_what_is_past_its_date_once(case: Situation) -> None:
    old = changed(case, "oxidizer", stock_grams=900.0, package=Package(1000.0, expires=date(2026, 1, 1)))
    bought = [p for p in shelf_of(old, make_plan(old, Wishes())).shopping if p.what == "oxidizer"]
    assert [p.reason.kind for p in bought] == ["buy-over"]
