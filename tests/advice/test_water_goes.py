"""Plans in which all of the water goes. Steps and reasons are common practice where nothing else is said."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from advice.purpose_scenes import (
    BOTH,
    CHLORINE,
    GOOD,
    INFLATABLE,
    MEMBERS,
    WOOD,
    about,
    note,
    notes,
    of,
    substances_of,
    tasks,
    whys,
)
from advice.scenes import CLEAR, FULL_SHELF, NOW, TUB, filled_tub
from tubwater.advice import About, Wishes
from tubwater.facts import Quantity, substances
from tubwater.facts.purposes import Purpose, Way, purposes
from tubwater.services import plan_for
from tubwater.tub import Clarity, Drained, Filled, FillWater, Noticed, Plan, Sign, StepKind, Tub, VerdictKind

WATER_GOES = [p for p in purposes().values() if p.way in {Way.ANEW, Way.EMPTY}]
EMPTIED = [p.key for p in WATER_GOES if p.way is Way.EMPTY]
KNOWN = filled_tub(calcium_hardness=140.0, total_alkalinity=110.0, ph=7.4).fill
TUBS = {"bromine": TUB, "chlorine": CHLORINE, "": TUB}


def moves(plan: Plan) -> list[StepKind]:
    return [s.kind for s in plan.steps if s.kind in (StepKind.DRAIN, StepKind.FILL)]


@pytest.mark.parametrize("tub", [TUB, WOOD], ids=["pump", "wood-fired"])
@pytest.mark.parametrize("purpose", WATER_GOES, ids=lambda p: p.key)
def test_power_or_fire_is_off_before_the_water_drops_and_on_again_only_when_full(purpose: Purpose, tub: Tub) -> None:
    """A dry heater or pump breaks (common practice): each drain and each fill says so."""
    plan = about(purpose.key, replace(tub, sanitizer=TUBS[purpose.tub].sanitizer))
    off, full = ("electric-off", "power-when-full") if tub.equipment.pump else ("fire-out", "fire-when-full")
    assert all(off in step.cautions for step in of(plan, StepKind.DRAIN))
    assert all(full in step.cautions for step in of(plan, StepKind.FILL))
    assert moves(plan)


@pytest.mark.parametrize("purpose", WATER_GOES, ids=lambda p: p.key)
def test_a_plan_for_something_says_its_name_and_ends_with_a_test_before_anybody_gets_in(purpose: Purpose) -> None:
    plan = about(purpose.key, TUBS[purpose.tub])
    assert plan.situation == purpose.key
    assert plan.verdict.kind is VerdictKind.FIT or plan.steps[0].kind is StepKind.KEEP_OUT
    opens = {reason.kind for reason in plan.fit_when}
    assert opens == {"given-away"} if purpose.ends else "fit-after-test" in opens
    starts = [s.starts_at for s in plan.steps if not s.task or s.minutes]
    assert starts == sorted(starts)


# From chlorine to bromine: drain first, purge, fresh feeder, no slow or granular chlorine, but a chlorine shock.


def test_the_change_to_bromine_drains_before_any_bromine_goes_in() -> None:
    plan = about("chlorine-to-bromine", CHLORINE)
    first, substance = next((n, s.amount.substance) for n, s in enumerate(plan.steps) if s.amount)
    assert substance == "sodium-bromide"
    drains = [n for n, s in enumerate(plan.steps) if s.kind is StepKind.DRAIN]
    assert drains and max(drains) < first
    assert tasks(plan)[:3] == ["purge-pipes", "new-filter", "fresh-feeder"]
    assert tasks(plan).index("purge-pipes") == 0 and plan.steps[drains[0] - 1].task == "purge-pipes"


def test_the_change_to_bromine_forbids_slow_and_granular_chlorine_and_allows_a_chlorine_shock() -> None:
    plan = about("chlorine-to-bromine", CHLORINE)
    refused = {str(r.values["product"]): r.kind for r in plan.refused}
    assert refused == dict.fromkeys(("slow chlorine", "chlorine granules"), "isocyanurate-in-bromine")
    assert not {substances()[s].family for s in substances_of(plan)} & {"isocyanurate"}
    assert "chlorine-shock-is-allowed" in notes(plan)


def test_the_change_to_bromine_with_only_bleach_makes_bromine_of_the_bank_by_it() -> None:
    """Hypochlorite and bromide, complete in seconds, one to one (from memory)."""
    shelf = replace(BOTH, products=tuple(p for p in BOTH.products if p.name != "oxidizer"))
    plan = about("chlorine-to-bromine", replace(CHLORINE, fill=KNOWN), shelf)
    assert {"sodium-bromide", "sodium-hypochlorite"} <= substances_of(plan)
    bank = next(s.starts_at for s in plan.steps if s.amount and s.amount.substance == "sodium-bromide")
    assert bank < min(s.starts_at for s in plan.steps if s.amount and s.amount.substance == "sodium-hypochlorite")


def test_the_change_to_bromine_is_read_on_the_bromine_scale_afterwards_and_says_to_change_the_description() -> None:
    plan = about("chlorine-to-bromine", CHLORINE)
    last = [s for s in plan.steps if s.kind is StepKind.TEST][-1]
    assert Quantity.BROMINE in last.quantities and Quantity.FREE_CHLORINE not in last.quantities
    assert "describe-anew" in notes(plan)


def test_a_bromine_tub_is_not_changed_to_bromine() -> None:
    plan = about("chlorine-to-bromine", TUB)
    assert note(plan, "kept-otherwise").values["sanitizer"] == "bromine"
    assert not moves(plan)


# From bromine to chlorine: bromide that stays turns chlorine into bromine.


def test_the_change_to_chlorine_rinses_until_little_bromide_is_left() -> None:
    plan = about("bromine-to-chlorine")
    rinses = [r for s in plan.steps for r in s.reasons if r.kind == "rinse-carries-off-bromide"]
    assert rinses and moves(plan)[0] is StepKind.DRAIN
    values = {name: float(value) for name, value in rinses[0].values.items()}
    assert values["after"] <= 0.1 < values["left"] == pytest.approx(0.05 * values["present"])
    assert values["after"] == pytest.approx(values["left"] * 0.05 ** len(rinses))


def test_a_milligram_of_bromide_makes_bromine_of_its_mole_of_chlorine() -> None:
    """70.906 g of Cl2 to 79.904 g of Br, one to one by mole (IUPAC abridged atomic weights)."""
    (reason, *_) = [r for s in about("bromine-to-chlorine").steps for r in s.reasons if "carries-off" in r.kind]
    assert float(reason.values["chlorine"]) / float(reason.values["left"]) == pytest.approx(70.906 / 79.904)


def test_each_rinse_fills_runs_and_drains_before_the_fill_that_stays() -> None:
    plan = about("bromine-to-chlorine")
    found = moves(plan)
    assert found[0] is StepKind.DRAIN and found[-1] is StepKind.FILL
    assert found[1:-1] == [StepKind.FILL, StepKind.DRAIN] * (len(found[1:-1]) // 2)
    assert tasks(plan).count("run-the-rinse") == len(found[1:-1]) // 2


def test_the_change_to_chlorine_takes_the_feeder_out_and_gives_no_bromine_again() -> None:
    plan = about("bromine-to-chlorine", replace(TUB, fill=KNOWN))
    assert tasks(plan)[0] == "stop-feeding"
    assert not substances_of(plan) & {"bcdmh", "sodium-bromide", "monopersulfate"}
    assert {str(r.values["product"]) for r in plan.refused} >= {"tablets", "bromide", "slow chlorine"}
    assert "sodium-hypochlorite" in substances_of(plan)


# Winter, out of use, start again, the end.


@pytest.mark.parametrize("key", EMPTIED)
def test_a_tub_that_stays_empty_gets_no_chemical_and_no_water(key: str) -> None:
    plan = about(key)
    assert not substances_of(plan) and moves(plan) == [StepKind.DRAIN]
    assert "start-it-again" in {r.kind for r in plan.fit_when} or key == "give-away"


def test_before_frost_the_pipes_are_blown_out_after_the_drain_and_the_filter_is_dried() -> None:
    plan = about("winter", days=100.0)
    order = [s.task or s.kind.value for s in plan.steps]
    wanted = ["stop-feeding", "purge-pipes", "drain", "blow-out", "filter-dry", "power-locked-off", "cover-ajar"]
    assert [name for name in order if name in wanted] == wanted
    assert {"never-full-without-power", "no-antifreeze"} <= notes(plan)
    assert timedelta(days=100) < plan.next_visit - NOW < timedelta(days=101)


def test_a_wood_fired_tub_without_pump_has_no_pipes_to_blow_out() -> None:
    assert not {"blow-out", "purge-pipes", "filter-dry", "power-locked-off"} & set(tasks(about("winter", WOOD)))


def test_a_chlorine_tub_has_no_feeder_to_take_out() -> None:
    assert "stop-feeding" in tasks(about("winter")) and "stop-feeding" not in tasks(about("winter", CHLORINE))


def test_the_sanitizer_goes_down_before_it_is_let_out_with_the_grams_that_do_it() -> None:
    """One mole of ascorbic acid (176.124 g) uses up one of halogen; 4 mg/L as Br2 in 1,300 L."""
    told = note(about("mothball"), "neutralise-first")
    litres = 1300.0 * 0.92  # what a plate of 1,300 L means in the middle
    expected = float(told.values["value"]) / 159.808 * litres / 1000.0 * 176.124 / 0.99
    assert float(told.values["grams"]) == pytest.approx(expected, rel=0.1)
    assert float(told.values["hours"]) > 0.0


def test_a_mothballed_tub_that_is_empty_already_is_only_dried() -> None:
    plan = about("mothball", events=(CLEAR, Drained(NOW, 1300.0)))
    assert not moves(plan) and "purge-pipes" not in tasks(plan)
    assert {"blow-out", "dry-shell", "cover-ajar"} <= set(tasks(plan))


def test_mothballing_comes_back_when_it_was_said() -> None:
    assert timedelta(days=30) < about("mothball", days=30.0).next_visit - NOW < timedelta(days=31)


def test_a_tub_that_stood_empty_is_looked_over_purged_and_then_started() -> None:
    plan = about("start-again", events=(Drained(NOW - timedelta(days=120), 1300.0),))
    assert tasks(plan)[:3] == ["frost-damage", "plugs-in", "inspect-suction-covers"]
    assert moves(plan) == [StepKind.FILL, StepKind.DRAIN, StepKind.FILL]
    assert tasks(plan).index("purge-pipes") > tasks(plan).index("plugs-in")
    assert "sodium-bromide" in substances_of(plan)


def test_a_start_without_pump_needs_no_fill_to_purge() -> None:
    assert moves(about("start-again", WOOD)) == [StepKind.FILL]


def test_starting_again_asks_for_fresh_reagents() -> None:
    assert "old-reagents-and-tablets" in notes(about("start-again", INFLATABLE))


def test_the_end_of_a_tub_hands_over_the_log_and_takes_leftovers_to_the_depot_uncombined() -> None:
    plan = about("give-away")
    assert tasks(plan)[-3:] == ["disconnect", "hand-over-the-log", "leftovers-to-the-depot"]
    assert "one-container" in plan.steps[-1].cautions and "never-combine-leftovers" in notes(plan)


def test_the_end_of_a_chlorine_tub_neutralises_its_chlorine_first() -> None:
    assert "neutralise-first" in notes(about("give-away", CHLORINE))


def test_a_wood_fired_tub_that_is_given_away_has_nothing_to_disconnect() -> None:
    assert "disconnect" not in tasks(about("give-away", WOOD))


# Worn-out water.


def test_worn_out_water_names_the_rule_that_says_so_and_when() -> None:
    """One bather-use for 10 L since the fill, or the calendar, whichever comes first."""
    plan = about("worn-out", events=(Filled(NOW - timedelta(days=80)), *GOOD))
    assert {"worn-out", "drain-is-due"} <= notes(plan)
    assert notes(plan) & {"drain-calendar", "drain-people", "drain-won't-hold", "drain-will-not-hold"}


def test_worn_out_water_is_purged_before_it_goes_and_the_filter_cleaned() -> None:
    plan = about("worn-out")
    assert tasks(plan)[:3] == ["stop-feeding", "purge-pipes", "deep-clean-filter"]
    assert moves(plan) == [StepKind.DRAIN, StepKind.FILL]


def test_a_change_that_was_begun_goes_on_where_it_stands() -> None:
    since = NOW - timedelta(hours=4)
    events = (CLEAR, Drained(NOW - timedelta(hours=3), 1300.0))
    plan = plan_for(TUB, BOTH, events, NOW, Wishes(about=About("worn-out", since)), members=MEMBERS)
    assert moves(plan) == [StepKind.FILL] and "purge-pipes" not in tasks(plan)
    filled = (*events, Filled(NOW - timedelta(hours=1)))
    plan = plan_for(TUB, BOTH, filled, NOW, Wishes(about=About("worn-out", since)), members=MEMBERS)
    assert not moves(plan) and "sodium-bromide" in substances_of(plan)


def test_what_is_wrong_first_stays_first_whatever_is_asked_for() -> None:
    """Water is evidence: nothing is let out before the authority has decided (US health authority, from memory)."""
    ill = Noticed(NOW, Clarity.CLEAR, frozenset({Sign.ILLNESS}))
    plan = about("winter", events=(ill,))
    assert plan.situation == "illness" and not moves(plan) and "first-this" in notes(plan)


# First fill, blend, metals, no tablets.


def test_a_first_fill_is_purged_with_a_fill_of_its_own() -> None:
    """Water of a leak test grows film (World Health Organization 2007, read in part)."""
    plan = about("first-fill", events=())
    assert moves(plan) == [StepKind.FILL, StepKind.DRAIN, StepKind.FILL]
    assert "fill-to-purge" in whys(plan) and "flush-the-hose" in notes(plan)
    assert tasks(plan)[:3] == ["inspect-suction-covers", "test-protective-device", "purge-pipes"]


def test_a_blend_meets_its_calcium_and_every_amount_is_for_the_blend() -> None:
    """Mixing is linear: (394 - 150) / (394 - 20) of soft water."""
    tub = filled_tub(calcium_hardness=394.0, total_alkalinity=300.0, ph=7.4)
    plan = about("start-up", tub, events=(), soft=20.0, target=150.0)
    (reason,) = (r for s in plan.steps for r in s.reasons if r.kind == "blend-as-asked")
    assert float(reason.values["litres"]) / 1300.0 == pytest.approx((394.0 - 150.0) / (394.0 - 20.0), abs=0.02)
    assert float(reason.values["litres"]) + float(reason.values["rest"]) == pytest.approx(1300.0)
    end = {e.quantity: e.median for e in plan.end}
    assert end[Quantity.CALCIUM_HARDNESS] == pytest.approx(150.0, rel=0.05)
    assert end[Quantity.TOTAL_ALKALINITY] < 130.0  # thinned along with it, no rounds of acid needed


def test_soft_tap_water_is_not_blended() -> None:
    tub = filled_tub(calcium_hardness=60.0, total_alkalinity=60.0, ph=7.4)
    assert "no-blend" in notes(about("start-up", tub, events=(), soft=5.0, target=150.0))


def test_metal_in_the_tap_is_told_in_grams_with_a_test_in_a_bucket() -> None:
    tub = replace(TUB, fill=FillWater({}, "well"))
    plan = about("first-fill", tub, events=(), tap_metal=0.6)
    step = next(n for n, s in enumerate(plan.steps) if s.task == "bucket-first")
    assert float(note(plan, "metal-in-the-tap").values["grams"]) == pytest.approx(0.6 * 1.3)
    (bucket,) = plan.steps[step].reasons
    assert bucket.kind == "bucket-test" and 0.1 < float(bucket.values["grams"]) < 0.5
    assert not {"well-water", "bucket-test"} & set(notes(plan))
    assert plan.steps[step + 1].kind is StepKind.FILL and not any(s.amount for s in plan.steps[:step])


def test_little_metal_is_told_as_little() -> None:
    assert "little-metal-in-the-tap" in notes(about("start-up", events=(), tap_metal=0.1))


def test_a_start_without_tablets_makes_bromine_of_the_bank_by_hand_and_sets_no_feeder() -> None:
    plan = about("start-up-without-tablets", events=())
    assert {"sodium-bromide", "monopersulfate"} <= substances_of(plan) and "bcdmh" not in substances_of(plan)
    assert not of(plan, StepKind.SET_FEEDER) and "bromine-by-hand" in notes(plan)


def test_a_start_with_tablets_sets_the_feeder() -> None:
    assert any(s.tablets > 0.0 for s in of(about("start-up", events=()), StepKind.SET_FEEDER))


def test_a_start_without_tablets_is_none_of_a_chlorine_tub() -> None:
    assert "kept-otherwise" in notes(about("start-up-without-tablets", CHLORINE, FULL_SHELF))
