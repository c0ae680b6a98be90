"""What a plan can be asked for: troubles, goals and part changes. Common practice where nothing else is said."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from advice.purpose_scenes import CHLORINE, GOOD, MEMBERS, WOOD, about, note, notes, of, substances_of, tasks, whys
from advice.scenes import CALCIUM, CLEAR, FULL_SHELF, NOW, SHELF, TUB, a_test, filled_tub, reading
from tubwater.advice import About, Wishes
from tubwater.advice.goals import within
from tubwater.chemistry import Water, at_pco2, equilibrate
from tubwater.errors import InputError, UnknownKey
from tubwater.facts import BasisKind, Quantity, guidelines
from tubwater.facts.purposes import Way, purposes
from tubwater.services import plan_for
from tubwater.services.about import about_of, purposes_for
from tubwater.tub import FillWater, Sanitizer, StepKind, Tub, VerdictKind
from tubwater.tub import Tested as Readings

SIGNS = {
    "foam": "lasting-foam",
    "smell": "strong-smell",
    "murky": "cloudy",
    "blood": "blood",
    "stool-or-vomit": "stool-or-vomit",
    "diarrhoea": "diarrhoea",
    "laboratory-legionella": "legionella",
    "laboratory-other": "germs",
    "illness-report": "illness",
}
FILLED = filled_tub(calcium_hardness=140.0, total_alkalinity=110.0, ph=7.5)
SCALING = (
    CLEAR,
    Readings(
        NOW,
        (*a_test(4.0, 7.9, 150.0, "photometer").readings, reading(Quantity.CALCIUM_HARDNESS, 330.0, "drop-titration")),
    ),
)
SOFT = (
    CLEAR,
    Readings(
        NOW,
        (*a_test(4.0, 7.3, 40.0, "photometer").readings, reading(Quantity.CALCIUM_HARDNESS, 25.0, "drop-titration")),
    ),
)


@pytest.mark.parametrize("key", SIGNS)
def test_what_is_seen_is_planned_as_if_it_had_been_noted(key: str) -> None:
    plan = about(key, FILLED, events=GOOD)
    assert plan.situation == SIGNS[key] and plan.verdict.kind is VerdictKind.KEEP_OUT
    assert "note-it-too" in notes(plan) and plan.steps[0].kind is StepKind.KEEP_OUT


@pytest.mark.parametrize("key", [k for k in SIGNS if k in ("foam", "smell", "murky", "blood")])
@pytest.mark.parametrize("tub", [TUB, CHLORINE], ids=["bromine", "chlorine"])
def test_treated_water_gets_a_filter_a_computed_shock_and_a_test(key: str, tub: Tub) -> None:
    plan = about(key, tub)
    assert of(plan, StepKind.CLEAN) and of(plan, StepKind.DOSE)
    assert of(plan, StepKind.TEST)[-1].starts_at > of(plan, StepKind.DOSE)[-1].starts_at


@pytest.mark.parametrize(("hours", "situation"), [(10.0, "in-use"), (30.0, "recovery"), (300.0, "long-lapse")])
def test_for_how_long_sanitizer_was_lost_decides(hours: float, situation: str) -> None:
    """Up to a day: as read; up to a week: shock and two readings; longer: changed (judgement on one study)."""
    assert about("sanitizer-lost", FILLED, events=GOOD, hours=hours).situation == situation


def test_water_that_scales_is_brought_down_and_its_index_told() -> None:
    plan = about("scale", events=SCALING)
    told = note(plan, "index-now-and-then")
    assert float(told.values["now"]) > 0.3 > 0.0
    assert float(told.values["then"]) < float(told.values["now"])
    assert "sodium-bisulfate" in substances_of(plan) and "scale-on-the-heater" in notes(plan)


def test_water_that_does_not_scale_is_not_soured() -> None:
    low = (CLEAR, a_test(4.0, 7.2, 65.0, "photometer"))
    assert "sodium-bisulfate" not in substances_of(about("scale", events=low))


def test_scale_by_a_stove_has_the_same_goals() -> None:
    plan = about("scale", WOOD, events=SCALING)
    assert plan.situation == "scale" and "flakes-in-acid" in notes(plan)


def test_soft_sour_water_gets_alkalinity_before_calcium_and_its_index_rises() -> None:
    plan = about("corrosive-water", FILLED, FULL_SHELF, SOFT)
    order = [s.amount.substance for s in of(plan, StepKind.DOSE) if s.amount]
    assert order.index("sodium-bicarbonate") < order.index("calcium-chloride-dihydrate")
    told = note(plan, "index-now-and-then")
    assert float(told.values["now"]) < float(told.values["then"])


def test_corrosive_water_without_calcium_in_hand_is_still_raised() -> None:
    plan = about("corrosive-water", FILLED, SHELF, SOFT)
    assert "sodium-bicarbonate" in substances_of(plan) and CALCIUM.substance not in substances_of(plan)


def test_corrosive_water_that_lost_its_sanitizer_is_recovered_first() -> None:
    assert "water-first" in notes(about("corrosive-water", events=(CLEAR, a_test(0.0, 7.2, 40.0))))


def test_a_rising_ph_names_where_it_ends_with_this_alkalinity_and_with_less() -> None:
    """Open equilibrium with the air (calculation); 80 mg/L ends near 8.4, 60 near 8.3 at 38 degC."""
    high = (CLEAR, a_test(4.0, 7.9, 120.0, "photometer"))
    told = note(about("ph-keeps-rising", events=high), "ceiling")
    assert float(told.values["then"]) < float(told.values["top"]) < 8.7
    assert float(told.values["then"]) == pytest.approx(_ceiling(70.0), abs=0.12)


def _ceiling(alkalinity: float) -> float:
    eq = alkalinity / 50043.5 / 0.993
    water = Water.of(38.0, sodium=eq + 0.001, calcium=0.0014, chloride=0.0028 + 0.001, carbonate=eq)
    return float(np.median(equilibrate(at_pco2(water, 0.00042)).ph))


def test_a_rising_ph_names_the_borate_for_fifty_milligrams() -> None:
    """Boric acid holds 10.811 / 61.83 of boron: 50 mg/L in 1,196 L."""
    high = (CLEAR, a_test(4.0, 7.9, 120.0, "photometer"))
    told = note(about("ph-keeps-rising", events=high), "borate-steadies")
    assert float(told.values["grams"]) == pytest.approx(50.0 * 1.3 * 0.92 * 61.83 / 10.811, rel=0.1)


def test_a_rising_ph_gets_acid_and_less_air() -> None:
    plan = about("ph-keeps-rising", events=(CLEAR, a_test(4.0, 7.9, 120.0, "photometer")))
    assert "sodium-bisulfate" in substances_of(plan) and {"less-air", "fill-brings"} <= notes(plan)


def test_a_ph_that_bounces_gets_its_alkalinity_first() -> None:
    low = (CLEAR, a_test(4.0, 7.5, 35.0, "photometer"))
    plan = about("ph-will-not-settle", events=low)
    assert "sodium-bicarbonate" in substances_of(plan) and "sodium-bisulfate" not in substances_of(plan)
    assert {"alkalinity-steadies", "second-method"} <= notes(plan)


def test_what_the_tap_brings_is_told_in_its_own_numbers() -> None:
    told = note(about("ph-will-not-settle", FILLED), "fill-brings")
    assert float(told.values["alkalinity"]) == pytest.approx(110.0, rel=0.1)
    assert float(told.values["hardness"]) == pytest.approx(140.0, rel=0.1)


def test_aims_of_a_purpose_lie_inside_every_bathing_limit() -> None:
    for purpose in purposes().values():
        for guideline in guidelines().values():
            for quantity, (low, high) in purpose.aims.items():
                limits = within(guideline.limits[quantity], low, high)
                assert limits.bathing_low <= limits.aim_low < limits.aim_high <= limits.bathing_high, purpose.key


def test_a_sanitizer_that_never_holds_is_read_over_an_unused_night() -> None:
    """Over half gone is film or organics, under a fifth what people bring (common practice)."""
    plan = about("sanitizer-never-holds")
    tests = of(plan, StepKind.TEST)
    (morning,) = [r for r in tests[-1].reasons if r.kind == "night-tells"]
    assert tests[-1].starts_at - tests[-2].starts_at >= 720.0
    evening = float(morning.values["evening"])
    assert float(morning.values["film"]) == pytest.approx(0.5 * evening)
    assert float(morning.values["bathers"]) == pytest.approx(0.8 * evening)
    assert of(plan, StepKind.CLEAN) and "likely-cause" in notes(plan)


def test_the_bank_is_told_where_it_is_a_bromine_tub_and_not_otherwise() -> None:
    assert notes(about("sanitizer-never-holds")) & {"bank-is-there", "bank-is-thin"}
    assert not notes(about("sanitizer-never-holds", CHLORINE)) & {"bank-is-there", "bank-is-thin"}


def test_nothing_is_fed_up_where_the_sanitizer_was_not_read() -> None:
    plan = about("sanitizer-never-holds", events=(CLEAR,))
    assert plan.situation == "test-first" and not of(plan, StepKind.DOSE)


@pytest.mark.parametrize("litres", [1301.0, 5000.0, 1250.0])
def test_more_litres_than_a_part_of_the_tub_are_refused_with_what_it_holds(litres: float) -> None:
    with pytest.raises(InputError, match=r"litres.*at most 1170 L of this tub's 1300 L"):
        about("part-change", litres=litres)


def test_metals_are_thinned_by_as_much_water_as_brings_them_down() -> None:
    """(1.2 - 0.3) / (1.2 - 0.1) of the water; iron 0.3 mg/L from memory."""
    plan = about("metals", metal=1.2, tap_metal=0.1)
    (drain,) = of(plan, StepKind.DRAIN)
    assert drain.litres == pytest.approx((1.2 - 0.3) / (1.2 - 0.1) * 1300.0 * 0.92, rel=0.05)  # what a plate means
    assert float(note(plan, "metal-goes").values["then"]) == pytest.approx(0.3, abs=0.01)
    assert not substances_of(plan) and "no-shock-on-metal" in notes(plan)


def test_without_a_number_of_the_metal_it_is_measured_first() -> None:
    plan = about("metals")
    assert "sample-for-metal" in tasks(plan) and not of(plan, StepKind.DRAIN) and "measure-the-metal" in notes(plan)


def test_a_tap_that_brings_the_metal_itself_does_not_help() -> None:
    plan = about("metals", metal=1.2, tap_metal=0.6)
    assert "tap-no-help" in notes(plan) and not of(plan, StepKind.DRAIN)


@pytest.mark.parametrize("said", [{}, {"metal": 1.2, "tap_metal": 0.6}, {"tap_metal": 0.6}])
def test_water_that_is_not_fit_does_not_open_in_minutes_while_nothing_may_go_in(said: dict[str, float]) -> None:
    plan = about("metals", events=(a_test(1.0, 7.5), CLEAR), **said)
    assert not substances_of(plan) and plan.next_visit >= NOW + timedelta(days=1)
    assert [r.kind for r in plan.fit_when] == ["metal-first", "fit-after-test"]


def test_a_part_change_is_off_before_and_on_after_and_says_what_goes() -> None:
    plan = about("part-change", litres=400.0)
    (drain,), (fill,) = of(plan, StepKind.DRAIN), of(plan, StepKind.FILL)
    assert "electric-off" in drain.cautions and "power-when-full" in fill.cautions
    assert drain.litres == fill.litres == 400.0 and fill.partial
    assert of(plan, StepKind.HEAT) and of(plan, StepKind.TEST)


def test_a_part_change_tells_the_bromide_that_goes_with_it() -> None:
    """Sodium bromide holds 79.904 / 102.894 of bromide."""
    told = note(about("part-change", litres=400.0), "bank-again")
    grams = float(told.values["value"]) * 1.3 * 0.92 / (79.904 / 102.894 * 0.99)
    # The middle of litres times bromide over 64 members is not the middle of each.
    assert float(told.values["grams"]) == pytest.approx(grams, rel=0.15)


def test_a_part_change_by_a_stove_puts_the_fire_out() -> None:
    plan = about("part-change", WOOD, litres=300.0)
    assert (
        "fire-out" in of(plan, StepKind.DRAIN)[0].cautions and "fire-when-full" in of(plan, StepKind.FILL)[0].cautions
    )


@pytest.mark.parametrize("tub", [TUB, CHLORINE, WOOD], ids=["bromine", "chlorine", "wood-fired"])
def test_complaints_of_people_get_fixed_advice_and_no_ranking(tub: Tub) -> None:
    """Out, keep water and filter, test before dosing, doctor or authority (US health authority, from memory)."""
    plan = about("skin-or-eyes", tub)
    assert [s.task or s.kind.value for s in plan.steps] == ["keep out", "keep-water", "test", "cover", "call"]
    assert not of(plan, StepKind.DOSE) and "likely-cause" not in notes(plan)
    assert whys(plan)[0] == "people-complain" and "see-a-doctor" in notes(plan)


# What a face asks.


def test_every_tub_has_the_purposes_of_its_sanitizer() -> None:
    assert "bromine-to-chlorine" in {p.key for p in purposes_for(TUB)}
    assert "chlorine-to-bromine" not in {p.key for p in purposes_for(TUB)}
    assert "chlorine-to-bromine" in {p.key for p in purposes_for(CHLORINE)}


def test_a_number_is_read_with_its_unit_or_in_the_usual_one() -> None:
    assert about_of("away-weekend", {"days": "3"}) == About("away-weekend", days=3.0)
    assert about_of("start-up", {"target": "10 °dH", "soft": ""}).target == pytest.approx(178.5, abs=1.0)
    assert about_of("before-party", {"people": "8", "minutes": "1.5 h"}).minutes == pytest.approx(90.0)
    assert about_of("away-weeks", {}).days == 14.0


def test_an_unknown_purpose_a_number_not_asked_for_and_one_out_of_range_are_refused() -> None:
    with pytest.raises(UnknownKey):
        about_of("no-such-thing", {})
    with pytest.raises(InputError) as refused:
        about_of("away-weekend", {"people": "3"})
    assert "days" in refused.value.problems[0].expected
    with pytest.raises(InputError) as refused:
        about_of("away-weekend", {"days": "30"})
    assert "1 to 7" in refused.value.problems[0].expected


def test_every_way_is_used_and_every_sign_and_product_role_is_known() -> None:
    assert {p.way for p in purposes().values()} == set(Way)
    assert all(p.tub in ("", *Sanitizer) and p.becomes in ("", *Sanitizer) for p in purposes().values())
    assert all(a.usual is None or a.low <= a.usual <= a.high for p in purposes().values() for a in p.asks.values())


def test_a_plan_without_anything_asked_for_stays_the_usual_one() -> None:
    plan = plan_for(replace(TUB, fill=FillWater()), SHELF, GOOD, NOW, Wishes(), members=MEMBERS)
    assert plan.situation == "in-use"


@pytest.mark.parametrize(
    ("ph", "alkalinity", "hardness", "kind"),
    [(8.2, 200.0, 600.0, "lays-down-lime"), (6.9, 30.0, 20.0, "takes-lime"), (7.4, 90.0, 150.0, "")],
)
def test_an_ordinary_plan_says_where_the_water_lays_down_lime_or_takes_it(
    ph: float, alkalinity: float, hardness: float, kind: str
) -> None:
    """The index by activities (a calculation); 0.3 and -0.5 are a judgement, and told as one."""
    drops = {Quantity.TOTAL_ALKALINITY: alkalinity, Quantity.CALCIUM_HARDNESS: hardness}
    colours = {Quantity.BROMINE: 4.0, Quantity.PH: ph}
    found = [reading(quantity, value, "photometer") for quantity, value in colours.items()]
    test = Readings(NOW, (*found, *(reading(q, v, "drop-titration") for q, v in drops.items())))
    tub = filled_tub(calcium_hardness=hardness, total_alkalinity=alkalinity, ph=ph)
    plan = plan_for(tub, SHELF, [CLEAR, test], NOW, members=3 * MEMBERS)
    told = {r.kind: r for r in plan.notes if r.kind in ("lays-down-lime", "takes-lime")}
    assert set(told) == ({kind} if kind else set())
    for reason in told.values():
        assert abs(float(reason.values["now"])) > 0.3 and reason.basis is not None
        assert reason.basis.kind is BasisKind.JUDGEMENT
