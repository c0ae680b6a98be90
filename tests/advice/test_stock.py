"""The shelf: golden numbers by hand from label, price and logbook, and what holds for any of them."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tubwater.advice import Situation, Wishes, make_plan
from tubwater.advice.apart import places_apart
from tubwater.advice.costs import Stock, costs_of, plan_needs, price_per_gram, shopping_of
from tubwater.advice.needs import NEEDS, candidates_for
from tubwater.advice.reagents import doubtful_tests, product_good_until, reagents_good_until
from tubwater.advice.stock import lasts, left_of, soaks_per_week, use_of
from tubwater.dynamics import Mode, advance
from tubwater.facts import methods, substances
from tubwater.facts.shelf_life import shelf_lives
from tubwater.services.advise import case_of
from tubwater.services.stock import shelf_of
from tubwater.tub import (
    Amount,
    Dosed,
    Event,
    FeederSet,
    Filled,
    Package,
    Plan,
    Product,
    Quantity,
    Reading,
    Reagents,
    Sanitizer,
    Shelf,
    Soaked,
    Step,
    StepKind,
    Tub,
)
from tubwater.tub import Tested as Readings

NOW = datetime(2026, 11, 25, 9, tzinfo=UTC)
TUB = Tub("invented", 1300.0, Sanitizer.BROMINE)


def ago(days: float) -> datetime:
    return NOW - timedelta(days=days)


def pack(grams: float, price: float | None = None, **more: object) -> Package:
    return Package(grams, price, "EUR" if price is not None else "", **more)  # type: ignore[arg-type]


OXIDIZER = Product(
    "oxidizer", "monopersulfate", 0.88, stock_grams=1000.0, package=pack(1000.0, 14.0, counted=ago(21.0))
)
BICARBONATE = Product("bicarbonate", "sodium-bicarbonate", 0.99, package=pack(2000.0, 8.0))
DRY_ACID = Product("dry acid", "sodium-bisulfate", 0.93, package=pack(1000.0, 6.0))
MURIATIC = Product("muriatic acid", "hydrochloric-acid", 0.31, package=pack(5800.0, 9.0))
SODA = Product("soda ash", "sodium-carbonate", 0.99, package=pack(1000.0, 5.0))
CAUSTIC = Product("caustic", "sodium-hydroxide", 0.99, package=pack(1000.0, 5.0))
TABLETS = Product("tablets", "bcdmh", 0.96, stock_grams=600.0, tablet_grams=20.0, package=pack(1000.0, 20.0))
DICHLOR = Product("dichlor", "dichlor", 0.99, package=pack(1000.0, 0.5))
HYPOCHLORITE = Product("bleach", "sodium-hypochlorite", 0.1, package=pack(5000.0, 4.0, opened=date(2026, 6, 1)))
SHELF = Shelf((OXIDIZER, BICARBONATE, DRY_ACID, MURIATIC, SODA, CAUSTIC, TABLETS, DICHLOR, HYPOCHLORITE))
# Four weeks: 40 g of oxidizer in each (one of them before the count), two soaks in all.
EVENTS: tuple[Event, ...] = (
    Filled(ago(28.0)),
    *(Dosed(ago(days), "oxidizer", 40.0, 0.05) for days in (27.0, 20.0, 13.0, 6.0)),
    Soaked(ago(10.0), 2.0, 30.0),
    Soaked(ago(3.0), 2.0, 30.0),
)


@pytest.fixture(scope="module")
def case() -> Situation:
    return case_of(TUB, SHELF, EVENTS, NOW, members=120)


@pytest.fixture(scope="module")
def plan(case: Situation) -> Plan:
    return make_plan(case, Wishes())


def with_events(case: Situation, *told: Event) -> Situation:
    return replace(case, belief=replace(case.belief, events=tuple(sorted(told, key=lambda event: event.at))))


def rng() -> np.random.Generator:
    return np.random.default_rng(5)


# By hand


def test_what_was_dosed_since_the_count_is_gone(case: Situation) -> None:
    left = left_of(case, OXIDIZER)
    assert left.grams is not None and left.grams.value == pytest.approx(1000.0 - 3 * 40.0)
    assert left.grams.low == pytest.approx(880.0 - 1.645 * 0.05 * 120.0)  # one scoop, off by the same each time
    assert (left.basis, left.used, left.over) == ("counted", pytest.approx(120.0), 0.0)


def test_the_use_is_what_went_in_by_the_weeks_and_the_stock_lasts_accordingly(case: Situation, plan: Plan) -> None:
    use = use_of(case, OXIDIZER, plan, rng())
    assert (use.basis, use.doses) == ("logged", 4) and use.per_week.value == pytest.approx(160.0 / 4.0)
    until = lasts(left_of(case, OXIDIZER), use, NOW, rng())
    assert until.until == NOW + timedelta(weeks=880.0 / 40.0)
    assert until.earliest is not None and until.latest is not None
    assert NOW < until.earliest < until.until < until.latest


def test_a_week_and_a_soak_cost_use_times_price(case: Situation, plan: Plan) -> None:
    use = use_of(case, OXIDIZER, plan, rng())
    left = left_of(case, OXIDIZER)
    (cost,) = costs_of(case, [Stock(OXIDIZER, left, use, lasts(left, use, NOW, rng()), 0.014)], plan)
    assert cost.per_week.value == pytest.approx(40.0 * 14.0 / 1000.0)  # 0.56 EUR
    assert cost.per_soak == pytest.approx(0.56 / (2.0 / 4.0))  # two soaks in four weeks
    assert soaks_per_week(case) == (pytest.approx(0.5), "from-log")
    if plan.after_soak:
        assert cost.after_soak == pytest.approx(plan.after_soak.amount.grams * 0.014)


def test_a_package_is_full_on_the_day_of_opening(case: Situation) -> None:
    opened = replace(OXIDIZER, stock_grams=None, package=pack(1000.0, opened=ago(14.0).date()))
    left = left_of(case, opened)
    assert left.basis == "opened" and left.grams is not None and left.grams.value == pytest.approx(1000.0 - 2 * 40.0)


def test_a_stock_without_a_day_of_counting_is_that_of_now(case: Situation) -> None:
    left = left_of(case, replace(OXIDIZER, package=Package()))
    assert left.basis == "as-stated" and left.grams is not None and left.grams.value == 1000.0
    assert left_of(case, replace(OXIDIZER, stock_grams=None, package=Package())).grams is None


def test_a_dose_that_may_not_have_gone_in_counts_half_with_its_doubt(case: Situation) -> None:
    left = left_of(with_events(case, Dosed(ago(1.0), "oxidizer", 100.0, 0.0, certain=False)), OXIDIZER)
    assert left.grams is not None and left.grams.value == pytest.approx(950.0)
    assert left.grams.low == pytest.approx(950.0 - 1.645 * 50.0)


def test_bicarbonate_by_its_molar_mass_and_price(case: Situation) -> None:
    litres = float(np.median(case.rates.litres))
    found = candidates_for(case, "raise-alkalinity", [(BICARBONATE, True)], NOW.date())[0]
    grams = 10.0 * litres / 1000.0 / 50.0435 * 84.006 / 0.99  # one eq for each mol
    assert found.grams == pytest.approx(grams, rel=1e-3) and found.price == pytest.approx(
        grams * 8.0 / 2000.0, rel=1e-3
    )
    assert found.adds["sodium"] == pytest.approx(10.0 / 50.0435 * 22.98977, rel=1e-3)


def test_acid_by_the_equivalent_whatever_bottle_it_comes_in(case: Situation) -> None:
    found = candidates_for(case, "lower-pH", [(DRY_ACID, True), (MURIATIC, True)], NOW.date())
    assert [c.product.name for c in found] == ["muriatic acid", "dry acid"]
    dry, muriatic = 120.054 / 0.93 * 6.0 / 1000.0, 36.461 / 0.31 * 9.0 / 5800.0  # EUR for an eq
    assert found[0].price and found[1].price
    assert found[1].price / found[0].price == pytest.approx(dry / muriatic, rel=1e-3)


def test_a_mol_of_soda_ash_lifts_the_pH_as_one_of_caustic_does(case: Situation) -> None:
    soda, caustic = candidates_for(case, "raise-pH", [(CAUSTIC, True), (SODA, True)], NOW.date())
    by_name = {c.product.name: c.grams * 0.99 / substances()[c.product.substance].molar_mass for c in (soda, caustic)}
    assert by_name["soda ash"] == pytest.approx(by_name["caustic"], rel=1e-3)


# Suitable


def test_what_the_tub_must_not_have_never_comes_first_however_cheap(case: Situation) -> None:
    cheap = Product("tempting", "trichlor", 0.9, package=pack(1000.0, 0.01))
    assert "slow-bromine" in NEEDS and not candidates_for(case, "slow-bromine", [(cheap, True)], NOW.date())
    chlorine = case_of(replace(TUB, sanitizer=Sanitizer.CHLORINE), SHELF, (), NOW, members=50)
    bromine_tub, chlorine_tub = (
        candidates_for(one, "chlorine", [(DICHLOR, True), (HYPOCHLORITE, True)], date(2026, 7, 1))
        for one in (case, chlorine)
    )
    assert [c.product.name for c in bromine_tub if c.suits] == ["bleach"]
    assert chlorine_tub[0].product.name == "dichlor" and chlorine_tub[0].suits


def test_no_strength_a_blend_or_a_past_date_speaks_against_a_product(case: Situation) -> None:
    unknown = replace(BICARBONATE, name="no label", strength=None)
    blend = replace(BICARBONATE, name="blend", declared_parts={"sodium-bicarbonate": 0.5, "sodium-carbonate": 0.5})
    old = replace(BICARBONATE, name="old", package=pack(1000.0, 1.0, expires=date(2026, 1, 1)))
    found = candidates_for(case, "raise-alkalinity", [(p, True) for p in (unknown, blend, old)], NOW.date())
    kinds = {c.product.name: [reason.kind for reason in c.against] for c in found}
    assert kinds == {"no label": ["strength-unknown"], "blend": ["blend-no-comparison"], "old": ["past-its-date"]}


# Dates


def test_the_earlier_of_label_and_opening_counts_and_the_last_day_is_still_good() -> None:
    strips = Reagents("strip", opened=date(2026, 1, 1), expires=date(2027, 1, 1))
    good = reagents_good_until(strips)
    assert good.day == date(2026, 1, 1) + timedelta(days=shelf_lives()["strip"].days_open)
    assert not good.over(good.day) and good.over(good.day + timedelta(days=1))  # type: ignore[arg-type, operator]
    assert reagents_good_until(Reagents("photometer")).day is None
    assert product_good_until(HYPOCHLORITE).day == date(2026, 8, 30)


def test_every_shelf_life_is_of_a_method_or_a_substance() -> None:
    assert set(shelf_lives()) <= set(methods()) | set(substances())


def test_a_test_is_doubtful_where_every_pack_then_open_was_past_its_date() -> None:
    def test(days: float) -> Event:
        return Readings(ago(days), (Reading(Quantity.PH, 7.4, 7.4, "pH", "strip", ago(days)),))

    old, fresh = Reagents("strip", expires=ago(20.0).date()), Reagents("strip", opened=ago(5.0).date())
    assert doubtful_tests([old], [test(30.0), test(10.0), test(1.0)]) == ((ago(10.0), "strip"), (ago(1.0), "strip"))
    assert doubtful_tests([old, fresh], [test(10.0), test(1.0)]) == ((ago(10.0), "strip"),)
    assert doubtful_tests([], [test(1.0)]) == ()


# Tablets


def test_what_tablets_gave_off_is_that_of_the_dynamics(case: Situation, plan: Plan) -> None:
    """Three tablets, half open, filled up to three after ten days: the shelf gives what the water got."""
    set_up = (Filled(ago(28.0)), FeederSet(ago(20.0), "tablets", 3.0, 0.5), FeederSet(ago(10.0), "tablets", 3.0, 0.5))
    filled = with_events(case, *set_up)
    thin = filled.belief.thinned(200)
    full = np.full(thin.rates.litres.shape, 60.0)
    state = replace(thin.state, tablet_grams=full, tablet_count=full / 20.0, opening=np.full(full.shape, 0.5))
    later = advance(state, thin.rates, 240.0, Mode.COVERED, case.products.tablet, longest=0.5, settle=False)
    gone = float(np.mean(60.0 - later.tablet_grams))
    counted = replace(TABLETS, package=pack(1000.0, 20.0, counted=ago(15.0)))
    left = left_of(filled, counted)
    assert left.grams is not None and 600.0 - left.grams.value == pytest.approx(gone, rel=0.01)
    use = use_of(filled, TABLETS, plan, rng())
    assert use.basis == "feeder" and use.per_week.value == pytest.approx(gone * 0.7, rel=0.01)


def test_a_feeder_just_filled_says_nothing_yet(case: Situation, plan: Plan) -> None:
    assert use_of(with_events(case, Filled(ago(28.0)), FeederSet(NOW, "tablets", 3.0)), TABLETS, plan, rng()).basis in (
        "planned",
        "unknown",
    )


def test_a_weekly_dose_stays_weekly_where_a_test_brings_the_keeper_back_the_same_day(
    case: Situation, plan: Plan
) -> None:
    dose = Step(StepKind.DOSE, amount=Amount("oxidizer", "monopersulfate", 10.0))
    week = replace(plan, begins=NOW, steps=(dose,), after_soak=None, next_visit=NOW + timedelta(days=7), horizon=None)
    same_day = replace(week, next_visit=NOW + timedelta(hours=2), horizon=NOW + timedelta(days=7))
    young = with_events(case, Filled(ago(1.0)))
    assert [use_of(young, OXIDIZER, p, rng()).per_week.value for p in (week, same_day)] == [10.0, 10.0]


# The spread


def test_nine_of_ten_ranges_of_the_use_hold_the_true_rate(case: Situation, plan: Plan) -> None:
    """Doses drawn here as a Poisson process of unequal amounts: one a week, 40 g times a lognormal factor."""
    luck, held, trials = np.random.default_rng(8), 0, 400
    truth = 40.0 * float(np.exp(0.5 * 0.4**2))
    for _ in range(trials):
        days = luck.uniform(0.0, 56.0, luck.poisson(8.0))
        doses = [Dosed(ago(d), "oxidizer", 40.0 * float(np.exp(0.4 * luck.standard_normal()))) for d in days]
        use = use_of(with_events(case, Filled(ago(56.0)), *doses), OXIDIZER, plan, luck)
        held += use.per_week.low <= truth <= use.per_week.high
    assert 0.85 <= held / trials <= 0.95


# Whatever was logged

doses = st.lists(
    st.tuples(st.floats(0.0, 27.0), st.floats(0.5, 2000.0), st.booleans()), min_size=0, max_size=12
)  # days ago, g, certain


@settings(max_examples=60, deadline=None)
@given(doses, st.floats(0.5, 2000.0))
def test_a_stock_is_never_negative_and_one_more_dose_costs_more(
    case: Situation, plan: Plan, logged: list[tuple[float, float, bool]], more: float
) -> None:
    told = [Filled(ago(28.0)), *(Dosed(ago(d), "oxidizer", g, 0.2, sure) for d, g, sure in logged)]
    found = []
    for one in (with_events(case, *told), with_events(case, *told, Dosed(ago(1.0), "oxidizer", more))):
        left, use = left_of(one, OXIDIZER), use_of(one, OXIDIZER, plan, rng())
        assert left.grams is not None and 0.0 <= left.grams.low <= left.grams.value <= left.grams.high
        until = lasts(left, use, NOW, rng())
        assert until.until is None or until.until >= NOW
        logged_stock = Stock(OXIDIZER, left, use, until, price_per_gram(OXIDIZER))
        costs = costs_of(one, [logged_stock], plan) if use.basis == "logged" else ()
        found.append((left.grams.value, costs[0].per_week.value if costs else 0.0))
    assert found[1][0] <= found[0][0] and found[1][1] > found[0][1]


@settings(deadline=None)
@given(st.integers(1, 9), st.data())
def test_no_place_holds_a_pair_that_never_meets(count: int, data: st.DataObject) -> None:
    names = [f"pot {n}" for n in range(count)]
    never = data.draw(st.sets(st.sampled_from(list(combinations(names, 2))))) if count > 1 else set()
    places = places_apart(names, never)
    assert sorted(name for place in places for name in place) == sorted(names)
    assert not any(set(pair) <= set(place) for pair in never for place in places)
    most = max(sum(name in pair for pair in never) for name in names)
    assert len(places) <= most + 1


# Shopping, and the whole


def test_what_runs_out_within_the_weeks_is_bought_in_whole_packages(case: Situation, plan: Plan) -> None:
    nearly = replace(OXIDIZER, stock_grams=150.0)  # 120 g of it are gone, 40 g a week
    left, use = left_of(case, nearly), use_of(case, nearly, plan, rng())
    stock = Stock(nearly, left, use, lasts(left, use, NOW, rng()), 0.014)
    (bought,) = [p for p in shopping_of([stock], (), replace(plan, shopping=()), NOW, 4.0, plan_needs(case, plan))]
    assert bought.reason.kind in ("buy-runs-out", "buy-for-plan")
    assert (bought.packages, bought.price, bought.currency) == (1, pytest.approx(14.0), "EUR")
    assert bought.grams + 30.0 >= 4.0 * 40.0


def test_old_strips_are_bought_at_once_and_those_that_end_soon_by_then(plan: Plan) -> None:
    bare = replace(plan, shopping=())
    (old,) = shopping_of((), [Reagents("strip", expires=ago(3.0).date())], bare, NOW, 4.0, {})
    assert old.reason.kind == "buy-over" and old.by is None
    (soon,) = shopping_of((), [Reagents("strip", expires=date(2026, 12, 10))], bare, NOW, 4.0, {})
    assert soon.reason.kind == "buy-ends" and soon.by is not None and soon.by.date() == date(2026, 12, 10)
    two = [Reagents("strip", expires=ago(3.0).date()), Reagents("strip", expires=date(2027, 12, 10))]
    assert shopping_of((), two, bare, NOW, 4.0, {}) == ()


def test_different_currencies_are_never_added_up(case: Situation, plan: Plan) -> None:
    other = replace(DRY_ACID, package=replace(DRY_ACID.package, currency="CHF"))
    mixed = with_events(case, *EVENTS, Dosed(ago(4.0), "dry acid", 15.0))
    report = shelf_of(replace(mixed, shelf=Shelf((OXIDIZER, other))), plan)
    assert {cost.currency for cost in report.money.costs} == {"EUR", "CHF"}


def test_acid_bleach_and_tablets_stand_in_places_of_their_own(case: Situation, plan: Plan) -> None:
    report = shelf_of(case, plan)
    where = {name: number for number, place in enumerate(report.places) for name in place}
    assert len({where["dry acid"], where["bleach"], where["tablets"], where["oxidizer"]}) == 4
    assert {"dry acid", "muriatic acid"} <= set(report.places[where["dry acid"]])
    assert report.never and report.storage
