"""An absence and the return. Steps and reasons are common practice where nothing else is said."""

from __future__ import annotations

from datetime import timedelta

import pytest

from advice.purpose_scenes import BOTH, CHLORINE, GOOD, WOOD, about, note, notes, of, substances_of, tasks
from advice.scenes import CLEAR, NOW, TUB, a_test
from tubwater.advice import Wishes
from tubwater.facts import Quantity
from tubwater.tub import Drained, FeederSet, Plan, Product, Shelf, Soaked, StepKind

NEIGHBOUR = Wishes(later_by="Neighbour")
LASTS = {"away-lasts", "away-may-last", "away-will-not-last"}


def lowest(plan: Plan) -> float:
    return plan.low_point[0].median


def test_a_weekend_away_is_cooler_and_says_whether_the_sanitizer_lasts() -> None:
    plan = about("away-weekend", days=2.0)
    assert tasks(plan)[-1] == "set-cooler" and len(notes(plan) & LASTS) == 1
    assert plan.next_visit == NOW + timedelta(days=2)
    assert "back-again-first" in {r.kind for r in plan.fit_when} and plan.after_soak is None


def test_cooler_water_loses_sanitizer_by_the_factor_of_its_degrees() -> None:
    """Twice for 10 K (judgement): from 38 to 30 degC to 2 ** -0.8 of it."""
    (step,) = [s for s in about("away-weekend", days=2.0).steps if s.task == "set-cooler"]
    assert float(step.reasons[0].values["share"]) == pytest.approx(2.0**-0.8)


def test_whether_it_lasts_follows_the_lowest_that_is_expected() -> None:
    plan = about("away-weekend", days=2.0)
    (told,) = [r for r in plan.notes if r.kind in LASTS]
    assert float(told.values["value"]) == pytest.approx(lowest(plan))
    assert (told.kind == "away-will-not-last") == (lowest(plan) < float(told.values["limit"]))


def test_nobody_bathes_meanwhile_whatever_the_logbook_shows() -> None:
    soaks = tuple(Soaked(NOW - timedelta(days=d), 4.0, 60.0) for d in range(1, 15))
    often = about("away-weekend", events=(*soaks, *GOOD), days=2.0)
    assert often.outcome is None or often.outcome.below_limit < 0.5


def test_a_wood_fired_tub_cools_down_by_itself() -> None:
    plan = about("away-weekend", WOOD, days=2.0)
    assert "let-it-cool" in tasks(plan) and "away-power-stays-on" not in notes(plan)


def test_lost_sanitizer_comes_before_the_absence() -> None:
    plan = about("away-weekend", events=(CLEAR, a_test(0.0, 7.6, 90.0)), days=3.0)
    assert plan.situation == "recovery" and "before-you-go" in notes(plan)


def test_weeks_away_with_nobody_named_empty_the_tub() -> None:
    """Tested every day or drained: warm water without sanitizer grows Legionella (US health authority)."""
    plan = about("away-weeks", days=14.0)
    assert [s.kind for s in plan.steps if s.kind in (StepKind.DRAIN, StepKind.FILL)] == [StepKind.DRAIN]
    assert "nobody-looks" in notes(plan) and not substances_of(plan)
    assert "purge-pipes" in tasks(plan) and "cover-ajar" in tasks(plan)
    assert "still-water-seeds" in notes(plan) and "away-power-stays-on" not in notes(plan)


def test_weeks_away_with_somebody_named_are_tested_every_day_by_them() -> None:
    plan = about("away-weeks", wishes=NEIGHBOUR, days=14.0)
    hand = of(plan, StepKind.HAND_OVER)[-1]
    assert hand.by == "Neighbour" and hand.quantities == (Quantity.BROMINE, Quantity.PH)
    assert not of(plan, StepKind.DRAIN) and plan.next_visit == NOW + timedelta(days=14)


def test_whoever_looks_after_it_is_told_a_dose_that_brings_two_milligrams() -> None:
    """2 mg/L as Br2 of monopersulfate: 2 / 159.808 mol/m3 over its oxidant of 88 % triple salt."""
    plan = about("away-weeks", wishes=NEIGHBOUR, days=14.0)
    values = of(plan, StepKind.HAND_OVER)[-1].reasons[0].values
    litres = 1300.0 * 0.92
    exact = 2.0 / 159.808 * litres / (2.0 / 614.76 * 0.88) / 1000.0
    assert values["product"] == "oxidizer" and float(values["grams"]) == pytest.approx(exact, abs=2.6)


def test_a_season_away_empties_the_tub_like_mothballing() -> None:
    plan = about("away-season", days=90.0)
    assert tasks(plan) == tasks(about("mothball", days=90.0)) and plan.situation == "away-season"
    assert plan.next_visit > NOW + timedelta(days=90)


def test_a_season_away_leaves_a_chlorine_tub_empty_too() -> None:
    assert len(of(about("away-season", CHLORINE), StepKind.DRAIN)) == 1


def test_a_season_away_by_a_stove_has_no_power_to_lock_off() -> None:
    assert "power-locked-off" not in tasks(about("away-season", WOOD))


def test_back_again_starts_with_air_a_look_and_a_test_and_adds_nothing() -> None:
    old = a_test(4.0, 7.5, 90.0, at=NOW - timedelta(days=6))
    plan = about("back-again", events=(old,), days=6.0)
    order = [s.task or s.kind.value for s in plan.steps]
    assert order == ["keep out", "vent", "look-after-absence", "prepare", "test", "cover"]
    assert 0.0 < float(note(plan, "back-likely").values["probability"]) < 1.0 and "back-low" in notes(plan)


def test_back_again_with_a_good_test_goes_on_as_usual() -> None:
    plan = about("back-again", days=6.0)
    assert plan.situation == "in-use"


def test_back_after_a_few_days_with_little_sanitizer_shocks() -> None:
    """Under a week below the limit: shock, filter, overnight, two readings (judgement on two studies)."""
    plan = about("back-again", events=(CLEAR, a_test(0.0, 7.5, 90.0)), days=4.0)
    assert plan.situation == "recovery" and not of(plan, StepKind.DRAIN)
    assert "two-good-readings" in {r.kind for r in plan.fit_when}


def test_back_after_weeks_with_little_sanitizer_changes_the_water() -> None:
    """Over a week warm below the limit, or nobody knows: purged and changed (judgement on two studies)."""
    plan = about("back-again", events=(CLEAR, a_test(0.0, 7.5, 90.0)), days=20.0)
    assert of(plan, StepKind.DRAIN) and "purge-pipes" in tasks(plan)
    assert float(note(plan, "back-too-long").values["days"]) == 20.0


def test_back_to_an_empty_tub_starts_it_again() -> None:
    plan = about("back-again", events=(Drained(NOW - timedelta(days=60), 1300.0),), days=60.0)
    assert tasks(plan)[0] == "frost-damage" and of(plan, StepKind.FILL)


def test_an_absence_with_a_full_feeder_and_no_oxidizer_still_has_a_plan() -> None:
    shelf = Shelf(tuple(p for p in BOTH.products if p.substance in ("bcdmh", "sodium-bisulfate")))
    feeder = FeederSet(NOW - timedelta(days=1), "tablets", 2.0, 0.5)
    plan = about("away-weeks", TUB, shelf, (feeder, *GOOD), NEIGHBOUR, days=10.0)
    assert "product" not in of(plan, StepKind.HAND_OVER)[-1].reasons[0].values
    assert isinstance(shelf.products[0], Product)
