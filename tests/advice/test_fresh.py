"""A fill as a keeper lives it: what goes in, in which order and why, for taps and tubs of all kinds.

The order is that of start-up practice with bromine (common practice): alkalinity, pH and calcium steadied, the bromide
bank alone, the oxidizer later and apart from it to 5-10 mg/L, two good tests a day apart before the first bather.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from advice.fresh_scenes import (
    ACID_OR_BASE,
    BANK,
    CHLORINE_SHELF,
    COMMON,
    FRESH,
    NOW,
    ORDINARY,
    OXIDIZER,
    SHELF,
    TABLETS,
    a_tub,
    doses,
    fresh,
    heating,
    notes,
    of,
    place,
    read,
    why,
)
from tubwater.advice import Occasion
from tubwater.advice.attended import stretches
from tubwater.facts import Quantity, defaults, substances
from tubwater.services.ask import plan_of_file
from tubwater.services.tubfile import read_tub_file
from tubwater.tub import (
    Dosed,
    Event,
    Filled,
    Measure,
    MeasureKind,
    Reading,
    Sanitizer,
    Shelf,
    StepKind,
    TubKind,
    as_kept,
    equipment_of,
)
from tubwater.tub import Tested as Readings


def test_a_soft_fill_is_steadied_first_so_that_sanitizer_goes_in_before_it_warms() -> None:
    plan = fresh(a_tub(total_alkalinity=25.0, calcium_hardness=20.0, ph=7.2))
    order = [place(plan, s) for s in ("sodium-bicarbonate", "sodium-bromide", "monopersulfate")]
    assert order == sorted(order) and order[-1] < heating(plan)
    assert "steady-first" in why(plan.steps[order[0]])
    after_heating = next(s for s in plan.steps[heating(plan) :] if s.kind is StepKind.TEST)
    assert read(after_heating, Quantity.BROMINE) >= 2.0
    assert doses(plan).index("sodium-bicarbonate") < doses(plan).index("calcium-chloride-dihydrate")


@pytest.mark.parametrize("alkalinity", [25.0, 110.0, 300.0])
def test_sodium_bromide_goes_in_once_and_whole(alkalinity: float) -> None:
    """30 mg/L of bromide in 1,300 L are 50 g of the salt, 0.777 of it bromide (calculation from atomic weights)."""
    plan = fresh(a_tub(total_alkalinity=alkalinity, calcium_hardness=140.0, ph=7.4))
    given = [s.amount.grams for s in of(plan, StepKind.DOSE) if s.amount and s.amount.substance == "sodium-bromide"]
    assert len(given) == 1
    assert given[0] == pytest.approx(1300.0 * 30.0 / 1000.0 / 0.7766 / 0.99, rel=0.05)


def test_bromide_that_went_in_after_the_fill_does_not_go_in_again() -> None:
    tub = a_tub(**ORDINARY)
    events: tuple[Event, ...] = (
        Filled(NOW - timedelta(hours=2), 1300.0),
        Dosed(NOW - timedelta(hours=1), "bromide", 25.0),
    )
    assert "sodium-bromide" not in doses(fresh(tub, events=events))


def test_an_unknown_fill_is_tested_before_anything_goes_in() -> None:
    plan = fresh(a_tub())
    first = of(plan, StepKind.TEST)[0]
    assert "know-the-fill" in why(first)
    assert {Quantity.PH, Quantity.TOTAL_ALKALINITY} <= set(first.quantities)
    assert all(first.starts_at < step.starts_at for step in of(plan, StepKind.DOSE))


def test_where_no_sanitizer_may_go_in_the_plan_ends_at_the_test_and_does_not_heat() -> None:
    """The pH of an unknown tap may be too high for hypochlorite: no warm water without sanitizer is planned."""
    plan = fresh(a_tub(sanitizer=Sanitizer.CHLORINE), CHLORINE_SHELF)
    assert not of(plan, StepKind.HEAT) and not doses(plan)
    assert of(plan, StepKind.TEST) and "no-sanitizer-yet" in notes(plan)
    told = next(r for r in plan.notes if r.kind == "no-sanitizer-yet")
    assert float(told.values["hours"]) == pytest.approx(21.8, abs=0.5)
    assert plan.next_visit < NOW + timedelta(hours=3)


def test_without_an_oxidizer_the_keeper_is_told_before_he_fills() -> None:
    assert "warm-without-oxidizer" in notes(fresh(a_tub(**ORDINARY), Shelf((*COMMON, TABLETS, BANK))))


def test_a_measure_too_coarse_for_the_first_dose_is_named() -> None:
    coarse = replace(OXIDIZER, measures=(Measure(MeasureKind.SCOOP, 100.0, 0.2, 1.0),))
    plan = fresh(a_tub(litres=700.0, **ORDINARY), Shelf((*COMMON, coarse, TABLETS, BANK)))
    assert "measure-too-coarse" in notes(plan) and not of(plan, StepKind.HEAT)


def test_a_very_hard_fill_gets_rounds_of_acid_and_air_a_blend_and_the_truth_about_the_rest() -> None:
    plan = fresh(a_tub(total_alkalinity=300.0, calcium_hardness=400.0, ph=7.4))
    blend = next(r for r in of(plan, StepKind.FILL)[0].reasons if r.kind == "blend-fill")
    assert float(blend.values["share"]) == pytest.approx(1.0 - 250.0 / 400.0, abs=0.03)  # mixing of two waters
    assert float(blend.values["litres"]) == pytest.approx(0.375 * 1300.0, abs=40.0)
    rounds = [s.kind for s in plan.steps if why(s) & {"lower-alkalinity", "air-after-acid"}]
    assert rounds[:4] == [StepKind.DOSE, StepKind.AERATE, StepKind.DOSE, StepKind.AERATE]
    assert {"alkalinity-in-rounds", "scale-stays-away", "softener-keeps-alkalinity"} <= notes(plan)
    rest = next(r for r in plan.notes if r.kind == "alkalinity-in-rounds")
    assert float(rest.values["value"]) > 120.0 and float(rest.values["rounds"]) >= 5.0
    assert "sodium-carbonate" not in doses(plan) and "calcium-chloride-dihydrate" not in doses(plan)


def test_air_raises_the_ph_after_acid_and_leaves_the_alkalinity() -> None:
    """Carbon dioxide leaves; the alkalinity is the charge of the strong ions and stays (definition)."""
    plan = fresh(a_tub(total_alkalinity=300.0, calcium_hardness=400.0, ph=7.4))
    for before, air in zip(plan.steps, plan.steps[2:], strict=False):
        if air.kind is StepKind.AERATE and before.kind is StepKind.DOSE:
            assert read(air, Quantity.PH) > read(before, Quantity.PH) + 0.1
            assert read(air, Quantity.TOTAL_ALKALINITY) == pytest.approx(
                read(before, Quantity.TOTAL_ALKALINITY), abs=2.0
            )
            low, high = next((e.low, e.high) for e in air.expected if e.quantity is Quantity.PH)
            assert low < read(air, Quantity.PH) < high


def test_water_that_scales_whatever_is_done_is_told_so() -> None:
    assert "no-plan-for-this-water" in notes(fresh(a_tub(total_alkalinity=350.0, calcium_hardness=1200.0, ph=7.3)))


def test_a_hard_fill_without_air_jets_says_that_it_takes_days() -> None:
    plan = fresh(a_tub(kind=TubKind.WOOD_FIRED, total_alkalinity=300.0, calcium_hardness=400.0, ph=7.4))
    assert not of(plan, StepKind.AERATE)
    assert "alkalinity-by-and-by" in notes(plan)


def test_alkalinity_is_high_and_no_acid_in_hand() -> None:
    shelf = Shelf((*COMMON[1:], OXIDIZER, TABLETS, BANK))
    assert "no-acid-in-hand" in notes(fresh(a_tub(total_alkalinity=300.0, calcium_hardness=140.0, ph=7.4), shelf))


@pytest.mark.parametrize(
    ("alkalinity", "calcium", "ph"),
    [
        (25.0, 20.0, 7.2),
        (40.0, 30.0, 8.6),
        (110.0, 140.0, 7.6),
        (300.0, 400.0, 7.4),
        (180.0, 220.0, 6.9),
        (60.0, 60.0, 8.6),
    ],
)
@pytest.mark.parametrize("sanitizer", list(Sanitizer))
def test_acid_and_base_meet_only_where_the_reason_says_why(
    alkalinity: float, calcium: float, ph: float, sanitizer: Sanitizer
) -> None:
    shelf = SHELF if sanitizer is Sanitizer.BROMINE else CHLORINE_SHELF
    plan = fresh(a_tub(sanitizer=sanitizer, total_alkalinity=alkalinity, calcium_hardness=calcium, ph=ph), shelf)
    given = [
        (s.amount.substance, why(s)) for s in of(plan, StepKind.DOSE) if s.amount and s.amount.substance in ACID_OR_BASE
    ]
    acids = [w for substance, w in given if substance == "sodium-bisulfate"]
    bases = [w for substance, w in given if substance != "sodium-bisulfate"]
    assert not (acids and bases) or all("acid-after-bicarbonate" in w for w in acids)
    if acids and bases:  # never a base after an acid
        assert given[0][0] != "sodium-bisulfate" and given[-1][0] == "sodium-bisulfate"


def test_acidic_well_water_gets_air_instead_of_base_and_a_word_about_iron() -> None:
    plan = fresh(a_tub(source="own well", total_alkalinity=150.0, calcium_hardness=160.0, ph=6.9, temperature=8.0))
    air = of(plan, StepKind.AERATE)[0]
    assert "air-out" in why(air) and read(air, Quantity.PH) > 7.2
    assert air.minutes % 5.0 == 0.0 and 10.0 <= air.minutes <= 90.0
    assert "sodium-carbonate" not in doses(plan)
    assert "well-water" in notes(plan)


def test_a_swim_spa_heats_for_days_and_is_looked_at_on_the_way() -> None:
    plan = fresh(a_tub(litres=6000.0, kind=TubKind.SWIM_SPA, **ORDINARY))
    heats = of(plan, StepKind.HEAT)
    hours = sum(s.minutes for s in heats) / 60.0
    needed = 6000 * 26 * 4.18 / 3600 / 2.7
    assert needed <= hours <= needed + len(heats)  # each stretch in whole hours
    assert len(heats) > 1 and all(s.minutes <= 30 * 60 for s in heats)
    assert sum("look-while-heating" in why(s) for s in of(plan, StepKind.TEST)) == len(heats) - 1
    assert of(plan, StepKind.FILL)[0].minutes == as_kept(6000 / defaults()["hose_litres_per_minute"].value)


def test_a_wood_fired_tub_is_stirred_by_hand_and_its_fire_watched() -> None:
    plan = fresh(a_tub(litres=1500.0, kind=TubKind.WOOD_FIRED, **ORDINARY))
    heat = of(plan, StepKind.HEAT)[0]
    assert "heat-by-fire" in why(heat) and "fire-watched" in heat.cautions
    assert "fire-when-full" in of(plan, StepKind.FILL)[0].cautions
    assert all("stir-by-hand" in why(s) for s in of(plan, StepKind.PREPARE))
    first = stretches(plan.steps, equipment_of(TubKind.WOOD_FIRED))[0]
    assert first.end >= heat.starts_at + heat.minutes  # nobody leaves a fire


def test_an_inflatable_waits_longer_and_has_air_but_no_water_jets() -> None:
    plan = fresh(a_tub(litres=800.0, kind=TubKind.INFLATABLE, **ORDINARY))
    waits = [s.minutes for s in of(plan, StepKind.WAIT) if "mix-first" in why(s)]
    assert waits and min(waits) == pytest.approx(30.0)
    assert [s.kind for s in plan.steps if s.kind in (StepKind.FILL, StepKind.HEAT, StepKind.SET_FEEDER)] == [
        StepKind.FILL,
        StepKind.HEAT,
        StepKind.SET_FEEDER,
    ]


def test_chlorine_gets_no_bromide_no_feeder_and_acid_before_what_pushes_the_ph_up() -> None:
    plan = fresh(
        a_tub(sanitizer=Sanitizer.CHLORINE, total_alkalinity=100.0, calcium_hardness=140.0, ph=8.3), CHLORINE_SHELF
    )
    assert place(plan, "sodium-bisulfate") < place(plan, "sodium-hypochlorite") < heating(plan)
    assert "room-for-chlorine" in why(plan.steps[place(plan, "sodium-bisulfate")])
    assert not of(plan, StepKind.SET_FEEDER) and "chlorine-by-hand" in notes(plan)
    assert plan.outcome is None  # nobody leaves such a tub alone for a week
    tests = [s for s in of(plan, StepKind.TEST) if why(s) & {"first-good-test", "second-good-test"}]
    assert [read(s, Quantity.FREE_CHLORINE) >= 3.0 for s in tests] == [True, True]


def test_guests_in_four_hours_are_told_when_and_what_takes_so_long() -> None:
    plan = fresh(a_tub(**ORDINARY), wishes=replace(FRESH, guests_at=NOW + timedelta(hours=4)))
    assert {"not-ready-in-time", "start-up-takes"} <= notes(plan)
    takes = next(r for r in plan.notes if r.kind == "start-up-takes")
    assert float(takes.values["heating"]) == pytest.approx(21.8, abs=0.2)
    assert float(takes.values["hold"]) == 24.0
    in_time = fresh(a_tub(**ORDINARY), wishes=replace(FRESH, guests_at=NOW + timedelta(days=4)))
    assert not {"not-ready-in-time", "start-up-takes"} & notes(in_time)


def test_a_plan_says_when_somebody_has_to_be_there() -> None:
    plan = fresh(a_tub(**ORDINARY))
    told = [r for r in plan.notes if r.kind == "be-there"]
    assert len(told) == 4  # the fill, the balance, the end once the oxidizer has reacted, the second test
    heat = plan.steps[heating(plan)]
    second = datetime.fromisoformat(str(told[1].values["time"]))
    assert abs(second - NOW - timedelta(minutes=heat.starts_at + heat.minutes)) < timedelta(minutes=1)
    assert "cover-locked" in heat.cautions


def test_a_keeper_with_three_hours_leaves_at_the_closed_cover_and_hands_over() -> None:
    plan = fresh(a_tub(**ORDINARY), wishes=replace(FRESH, minutes=180.0, later_by="the neighbour"))
    hand = next(i for i, s in enumerate(plan.steps) if s.kind is StepKind.HAND_OVER)
    assert hand == heating(plan) + 1
    assert "take-over-closed" in why(plan.steps[hand]) and "fit-after-test" in why(plan.steps[hand])
    assert all(s.by == "the neighbour" for s in plan.steps[hand:])
    assert not any(s.by for s in plan.steps[:hand])


def test_the_example_of_a_fill_hands_over_and_is_ready_for_its_guests(checkout: Path) -> None:
    file = read_tub_file(checkout / "examples" / "fresh-fill.toml")
    assert file.visit.occasion is Occasion.FRESH_WATER and file.visit.now is not None
    plan = plan_of_file(file, file.visit.now)
    assert plan.situation == "fresh-fill" and of(plan, StepKind.HAND_OVER)
    assert {"steady-first", "rest-of-alkalinity"} <= {kind for step in of(plan, StepKind.DOSE) for kind in why(step)}
    assert "not-ready-in-time" not in notes(plan)


def test_a_keeper_with_too_little_time_is_not_let_go_from_an_open_tub() -> None:
    plan = fresh(a_tub(**ORDINARY), wishes=replace(FRESH, minutes=90.0, later_by="the neighbour"))
    hand = next(s for s in plan.steps if s.kind is StepKind.HAND_OVER)
    assert "take-over-open" in why(hand) and hand.starts_at <= 90.0


def test_a_keeper_alone_with_too_little_time_is_told_to_begin_with_more() -> None:
    plan = fresh(a_tub(**ORDINARY), wishes=replace(FRESH, minutes=60.0))
    told = next(r for r in plan.notes if r.kind == "begin-with-more-time")
    assert float(told.values["needed"]) > 120.0
    assert not of(plan, StepKind.HAND_OVER)


def test_a_fill_of_two_hours_ago_is_still_cold_and_one_of_two_days_ago_is_warm() -> None:
    tub = a_tub(**ORDINARY)
    young, old = (fresh(tub, events=(Filled(NOW - timedelta(hours=h), 1300.0),)) for h in (2.0, 48.0))
    assert of(young, StepKind.HEAT) and not of(old, StepKind.HEAT)
    assert not of(young, StepKind.FILL) and not of(old, StepKind.FILL)


def test_a_read_temperature_is_believed_over_the_hours() -> None:
    cold = Reading(Quantity.TEMPERATURE, 15.0, 15.0, "°C", "thermometer", NOW)
    events: tuple[Event, ...] = (Filled(NOW - timedelta(hours=40), 1300.0), Readings(NOW, (cold,)))
    heat = of(fresh(a_tub(**ORDINARY), events=events), StepKind.HEAT)[0]
    assert heat.minutes == as_kept(60.0 * 1300 * 23 * 4.18 / 3600 / 1.8)


@pytest.mark.parametrize("alkalinity", [25.0, 110.0, 300.0])
def test_the_last_two_tests_are_a_day_apart_and_expect_enough(alkalinity: float) -> None:
    plan = fresh(a_tub(total_alkalinity=alkalinity, calcium_hardness=140.0, ph=7.4))
    first, second = [s for s in of(plan, StepKind.TEST) if why(s) & {"first-good-test", "second-good-test"}]
    assert second.starts_at - first.starts_at >= 24 * 60
    assert read(first, Quantity.BROMINE) >= 5.0  # the oxidizer brings the bank to 5-10 mg/L (common practice)
    assert read(second, Quantity.BROMINE) >= 3.0
    assert substances()["monopersulfate"].minutes <= first.starts_at


def test_without_a_bank_no_more_monopersulfate_piles_up_and_the_keeper_is_told_what_is_missing() -> None:
    shelf = Shelf(tuple(p for p in SHELF.products if p.substance != "sodium-bromide"))
    plan = fresh(a_tub(**ORDINARY), shelf=shelf)
    assert "no-bank" in notes(plan)
    assert not [s for s in plan.steps if "activate-bank" in why(s)]
