"""Where something is wrong before any dose: what has to come out (kinds, not wording).

Closing at once for faeces or vomit: Quebec, chapter Q-2, r. 39, section 17. Keeping water and filter for the health
authority after Legionella: US Centers for Disease Control and Prevention, "Controlling Legionella in Hot Tubs".
20 mg/L for 12.75 hours after diarrhoea: from memory of the Model Aquatic Health Code. The rest is common practice.
"""

from __future__ import annotations

import tomllib
from dataclasses import replace
from datetime import datetime, timedelta
from importlib import resources

import pytest

from advice.test_scenes import CLEAR, FULL_SHELF, NOW, SCOOP, SHELF, TUB, a_test, doses, filled_tub, kinds, reading
from tubwater.advice import Occasion, Wishes, judge
from tubwater.facts import BasisKind, Quantity, references, troubles
from tubwater.facts.situations import Procedure, Then, procedures
from tubwater.reports.plain import render_plan, step_text
from tubwater.reports.text import explain, sentence
from tubwater.reports.text import kinds as texts
from tubwater.services import plan_for
from tubwater.services.advise import case_of
from tubwater.tub import (
    Clarity,
    Dosed,
    Drained,
    Event,
    Filled,
    Noticed,
    Plan,
    Product,
    Reading,
    Reason,
    Shelf,
    Sign,
    Step,
    StepKind,
    Verdict,
    VerdictKind,
)
from tubwater.tub import (
    Tested as Readings,
)

MEMBERS = 64  # as the rules use
BLEACH = Product("bleach", "sodium-hypochlorite", 0.125, SCOOP)
CHANGED = {
    Sign.FORMED_STOOL: "stool-or-vomit",
    Sign.VOMIT: "stool-or-vomit",
    Sign.DIARRHOEA: "diarrhoea",
    Sign.ANIMAL_OR_FLOOD: "diarrhoea",
    Sign.GERMS: "germs",
    Sign.LEGIONELLA: "legionella",
    Sign.SLIME: "slime",
}
STOPPED = {
    Sign.CONTAMINATION: "contamination",
    Sign.ILLNESS: "illness",
    Sign.SUCTION_COVER_MISSING: "suction-cover",
    Sign.PUMP_FAILED: "pump-failed",
    Sign.PROTECTION_TRIPPED: "protective-device",
}
READ = [p for p in procedures().values() if p.then is not Then.TREAT and p.key != "stays-cloudy"]
TREATED = {Sign.BLOOD: "blood", Sign.STRONG_SMELL: "strong-smell", Sign.LASTING_FOAM: "lasting-foam"}


def plan_of(*events: Event, now: datetime = NOW, wishes: Wishes | None = None, shelf: Shelf = FULL_SHELF) -> Plan:
    return plan_for(TUB, shelf, events, now, wishes, members=3 * MEMBERS)


def verdict_of(*events: Event, now: datetime = NOW) -> Verdict:
    return judge(case_of(TUB, SHELF, events, now, members=MEMBERS))


def saw(*signs: Sign, clarity: Clarity = Clarity.CLEAR, at: datetime = NOW, lapse: float | None = None) -> Noticed:
    return Noticed(at, clarity, frozenset(signs), lapse)


def whys(plan: Plan) -> set[str]:
    return {reason.kind for step in plan.steps for reason in step.reasons}


def places(plan: Plan, *wanted: StepKind) -> list[StepKind]:
    return [kind for kind in kinds(plan) if kind in wanted]


# The table.


@pytest.mark.parametrize("found", procedures().values(), ids=procedures())
def test_a_procedure_is_made_of_steps_texts_and_sources_that_exist(found: Procedure) -> None:
    reasons, care = set(texts("reason")), set(texts("care"))
    assert (
        found.key in texts("situation") and {*found.reasons, *found.opens, *found.notes} - {"stays-cloudy"} <= reasons
    )
    for deed in found.steps:
        assert (
            deed.do in set(StepKind) and (not deed.why or deed.why in reasons) and (not deed.task or deed.task in care)
        )
        assert deed.why or deed.do in {"cover", "prepare"}
        assert set(deed.basis.sources) <= set(references()) and set(deed.cautions) <= set(texts("caution"))
        assert deed.basis.kind is not BasisKind.PUBLISHED or deed.basis.sources
    assert not found.sign or found.sign in troubles().signs


def test_every_sign_that_keeps_people_out_has_its_procedure_and_its_texts() -> None:
    procedure_of = {**CHANGED, **STOPPED, **TREATED}
    assert set(procedure_of) == set(Sign) - {Sign.PURPLE_INDICATOR}
    web = resources.files("tubwater.reports").joinpath("catalogue/web.en.toml").read_text(encoding="utf-8")
    known = {key for section in tomllib.loads(web).values() for key in section}
    assert {f"sign.{sign}" for sign in Sign} <= known


# Cloudy water.


@pytest.mark.parametrize("clarity", [Clarity.CLOUDY, Clarity.HAZY])
@pytest.mark.parametrize("bromine", [1.0, 5.0])
def test_cloudy_water_is_filtered_shocked_held_and_looked_at_again(clarity: Clarity, bromine: float) -> None:
    plan = plan_of(Noticed(NOW, clarity), a_test(bromine, 7.6, 80.0, method="photometer"))
    assert plan.verdict.kind is VerdictKind.KEEP_OUT and plan.situation == "cloudy"
    main = (StepKind.KEEP_OUT, StepKind.CLEAN, StepKind.PREPARE, StepKind.COVER)
    assert places(plan, *main) == list(main)
    assert doses(plan)[0] == "monopersulfate" and kinds(plan).index(StepKind.DOSE) > kinds(plan).index(StepKind.CLEAN)
    assert plan.steps[-1].kind is StepKind.TEST and plan.steps[-1].starts_at >= 24 * 60
    assert {Quantity.BROMINE, Quantity.PH} <= set(plan.steps[-1].quantities)
    assert plan.next_visit <= NOW + timedelta(days=2)
    assert {"likely-cause", "drain-if-not-clear"} <= {r.kind for r in plan.notes}


def test_the_shock_of_cloudy_water_is_sized_from_what_is_there() -> None:
    def grams(bromine: float) -> float:
        steps = plan_of(Noticed(NOW, Clarity.CLOUDY), a_test(bromine, 7.6, 80.0, method="photometer")).steps
        return sum(s.amount.grams for s in steps if s.amount and s.amount.substance == "monopersulfate")

    assert grams(1.0) > grams(8.0)


def test_with_enough_sanitizer_what_bathers_left_is_the_first_cause_of_cloudy_water() -> None:
    plan = plan_of(Noticed(NOW, Clarity.CLOUDY), a_test(5.0, 7.4, 80.0, method="photometer"))
    causes = [r.values["cause"] for r in plan.notes if r.kind == "likely-cause"]
    assert causes[0] == "organic-load"  # oxidizer demand before filter and lime (common practice)
    none = plan_of(Noticed(NOW, Clarity.CLOUDY), a_test(0.0, 7.4, 80.0, method="photometer"))
    assert next(r.values["cause"] for r in none.notes if r.kind == "likely-cause") in ("low-sanitizer", "organic-load")


@pytest.mark.parametrize(
    "rows",
    [(), (reading(Quantity.PH, 7.5),), (reading(Quantity.BROMINE, 4.0),)],
    ids=["nothing", "pH alone", "bromine alone"],
)
def test_cloudy_water_without_both_readings_is_tested_first(rows: tuple[Reading, ...]) -> None:
    plan = plan_of(Noticed(NOW, Clarity.CLOUDY), Readings(NOW, rows))
    assert plan.situation == "test-first" and doses(plan) == []
    assert kinds(plan)[0] is StepKind.KEEP_OUT and kinds(plan)[-1] is StepKind.TEST


def test_cloudy_water_stays_shut_on_the_best_test_until_the_drain_is_seen() -> None:
    for clarity in (Clarity.CLOUDY, Clarity.HAZY):
        verdict = verdict_of(Noticed(NOW, clarity), a_test(5.0, 7.5, method="photometer"))
        assert verdict.kind is VerdictKind.KEEP_OUT and "clear-water" in {r.kind for r in verdict.changes}


def test_water_that_a_shock_did_not_clear_in_a_day_is_changed() -> None:
    later = NOW + timedelta(hours=24)
    events: list[Event] = [Noticed(NOW, Clarity.CLOUDY), a_test(5.0, 7.5), Dosed(NOW, "oxidizer", 20.0)]
    again: list[Event] = [*events, Noticed(later, Clarity.CLOUDY), a_test(5.0, 7.5, at=later)]
    plan = plan_of(*again, now=later)
    assert plan.situation == "stays-cloudy" and StepKind.DRAIN in kinds(plan)
    clear = plan_of(*events, Noticed(later, Clarity.CLEAR), a_test(5.0, 7.5, at=later), now=later)
    assert StepKind.DRAIN not in kinds(clear)
    soon = NOW + timedelta(hours=4)
    waiting = plan_of(*events, Noticed(soon, Clarity.CLOUDY), a_test(5.0, 7.5, at=soon), now=soon)
    assert StepKind.DRAIN not in kinds(waiting)


# What got into it.


@pytest.mark.parametrize(("sign", "situation"), CHANGED.items())
def test_water_that_has_to_go_is_let_out_scrubbed_filled_and_tested_twice(sign: Sign, situation: str) -> None:
    plan = plan_of(saw(sign), a_test(4.0, 7.5, method="photometer"))
    assert plan.verdict.kind is VerdictKind.KEEP_OUT and plan.situation == situation
    order = places(plan, StepKind.DRAIN, StepKind.CLEAN, StepKind.FILL)
    assert order[:3] == [StepKind.DRAIN, StepKind.CLEAN, StepKind.FILL] and order[-1] is StepKind.FILL
    assert kinds(plan)[0] is StepKind.KEEP_OUT and {"new-filter"} <= {s.task for s in plan.steps}
    assert {"settle-first", "two-good-tests-a-day-apart"} <= {r.kind for r in plan.fit_when}
    assert {"fit-after-test"} <= {r.kind for r in plan.fit_when}


def test_nobody_opens_a_tub_by_a_good_test_while_a_contamination_stands() -> None:
    for sign in (*CHANGED, *STOPPED, *TREATED):
        verdict = verdict_of(saw(sign), a_test(5.0, 7.5, method="photometer"))
        assert verdict.kind is VerdictKind.KEEP_OUT and "settle-as-planned" in {r.kind for r in verdict.changes}


def test_solids_are_lifted_before_the_water_goes() -> None:
    tasks = [s.task or s.kind for s in plan_of(saw(Sign.VOMIT), a_test(4.0, 7.5)).steps]
    assert tasks.index("lift-solids") < tasks.index(StepKind.DRAIN)


def test_after_diarrhoea_the_pipes_are_disinfected_in_water_without_bromide_and_that_goes_too() -> None:
    soft = filled_tub(total_alkalinity=80.0, calcium_hardness=60.0, ph=7.4)
    shelf = Shelf((*FULL_SHELF.products, BLEACH))
    plan = plan_for(soft, shelf, [saw(Sign.DIARRHOEA), a_test(4.0, 7.5)], NOW, members=MEMBERS)
    wanted = places(plan, StepKind.DRAIN, StepKind.FILL)
    assert wanted == [StepKind.DRAIN, StepKind.FILL, StepKind.DRAIN, StepKind.FILL]
    chlorine = [s for s in plan.steps if s.amount and s.amount.substance == "sodium-hypochlorite"]
    second_drain = [n for n, s in enumerate(plan.steps) if s.kind is StepKind.DRAIN][1]
    assert "sodium-bromide" not in doses(plan)[: plan.steps[:second_drain].count(StepKind.DOSE)]
    told = [r for s in plan.steps[:second_drain] for r in s.reasons if r.kind in ("disinfect-fill", "chlorine-by-test")]
    assert told and all(r.basis is not None and r.basis.kind is BasisKind.FROM_MEMORY for r in told)
    grams = sum(s.amount.grams for s in chlorine if s.amount)
    rest = sum(float(r.values.get("grams", 0.0)) for r in told)
    assert 180.0 < grams + rest < 260.0  # 1,300 L less a tenth, 20 mg/L, 12.5 % as Cl2 a little less: about 200 g
    held = sum(s.minutes for s in plan.steps[:second_drain] if s.kind is StepKind.WAIT and s.covered)
    assert held == pytest.approx(765.0)  # 15,300 mg/L min at 20 mg/L, from memory


def test_without_chlorine_in_hand_it_is_bought_before_the_tub_is_emptied() -> None:
    plan = plan_of(saw(Sign.DIARRHOEA), a_test(4.0, 7.5))
    assert kinds(plan).index(StepKind.BUY) < kinds(plan).index(StepKind.DRAIN)
    assert any(float(r.values.get("grams", 0.0)) > 100.0 for r in plan.shopping if r.kind == "buy")


def test_unverified_times_are_shown_as_such() -> None:
    held = [
        s
        for s in plan_of(saw(Sign.DIARRHOEA), a_test(4.0, 7.5)).steps
        if "hold-the-chlorine" in {r.kind for r in s.reasons}
    ]
    assert held and "unverified" in explain(held[0].reasons[0])


def test_after_legionella_nothing_is_let_out_before_the_authority_agreed() -> None:
    plan = plan_of(saw(Sign.LEGIONELLA), a_test(4.0, 7.5))
    order = kinds(plan)
    assert order.index(StepKind.CALL) < order.index(StepKind.DRAIN)
    before = plan.steps[: order.index(StepKind.CALL)]
    assert {"all-off", "keep-water"} <= {s.task for s in before}
    assert not any(s.kind in (StepKind.DOSE, StepKind.CLEAN, StepKind.DRAIN) for s in before)
    assert "negative-samples" in {r.kind for r in plan.fit_when}
    drain = plan.steps[order.index(StepKind.DRAIN)]
    assert "once-agreed" in {r.kind for r in drain.reasons}


def test_after_an_illness_water_and_filter_stay_and_the_authority_is_called() -> None:
    plan = plan_of(saw(Sign.ILLNESS), a_test(4.0, 7.5))
    assert {"keep-water"} <= {s.task for s in plan.steps} and StepKind.CALL in kinds(plan)
    assert not {StepKind.DOSE, StepKind.DRAIN, StepKind.CLEAN} & set(kinds(plan))
    assert "see-a-doctor" in {r.kind for r in plan.notes}


@pytest.mark.parametrize(("sign", "situation"), STOPPED.items())
def test_what_others_have_to_settle_adds_nothing_and_is_looked_at_within_a_day(sign: Sign, situation: str) -> None:
    plan = plan_of(saw(sign), a_test(4.0, 7.5))
    assert plan.situation == situation and doses(plan) == []
    assert {"settle-first", "fit-after-test"} <= {r.kind for r in plan.fit_when}
    assert plan.next_visit <= NOW + timedelta(hours=24)


def test_hardware_goes_before_everything_else() -> None:
    plan = plan_of(saw(Sign.PROTECTION_TRIPPED, Sign.VOMIT, clarity=Clarity.CLOUDY), a_test(4.0, 7.5))
    assert plan.situation == "protective-device" and "leave-it-off" in {s.task for s in plan.steps}


@pytest.mark.parametrize(("sign", "situation"), TREATED.items())
def test_smell_foam_and_blood_are_shocked_and_filtered(sign: Sign, situation: str) -> None:
    plan = plan_of(saw(sign), a_test(4.0, 7.5))
    assert plan.situation == situation and StepKind.CLEAN in kinds(plan)
    assert doses(plan)[0] == "monopersulfate" and plan.steps[-1].kind is StepKind.TEST


def test_what_was_done_of_a_procedure_is_not_asked_for_again() -> None:
    hour = timedelta(hours=1)
    begun: list[Event] = [saw(Sign.VOMIT), a_test(4.0, 7.5)]
    emptied = plan_of(*begun, Drained(NOW + hour, 1300.0), now=NOW + 2 * hour)
    assert StepKind.DRAIN not in kinds(emptied) and StepKind.FILL in kinds(emptied)
    filled = plan_of(*begun, Filled(NOW + 2 * hour, 1300.0), now=NOW + 3 * hour)
    assert not {StepKind.DRAIN, StepKind.FILL} & set(kinds(filled))
    assert filled.verdict.kind is VerdictKind.KEEP_OUT  # until somebody says that it is settled
    assert "settle-first" in {r.kind for r in filled.fit_when}


def test_a_disinfecting_fill_is_let_out_again_even_when_planned_anew() -> None:
    hour = timedelta(hours=1)
    events: list[Event] = [saw(Sign.DIARRHOEA), Drained(NOW + hour, 1300.0), Filled(NOW + 2 * hour, 1300.0)]
    shelf = Shelf((*FULL_SHELF.products, BLEACH))
    dosed = Dosed(NOW + 3 * hour, "bleach", 200.0)
    again = plan_of(*events, dosed, saw(Sign.DIARRHOEA, at=NOW + 4 * hour), now=NOW + 4 * hour, shelf=shelf)
    assert places(again, StepKind.DRAIN, StepKind.FILL) == [StepKind.DRAIN, StepKind.FILL]
    held = sum(s.minutes for s in again.steps[: kinds(again).index(StepKind.DRAIN)] if s.covered)
    assert held == pytest.approx(765.0 - 60.0)


# Sanitizer lost, and too much of it.


def test_lost_sanitizer_ends_in_two_readings_twelve_hours_apart_with_the_second_as_next_visit() -> None:
    plan = plan_of(saw(lapse=100.0), a_test(0.0, 7.6, 80.0))
    assert plan.situation == "recovery" and plan.steps[-1].kind is StepKind.TEST
    two = next(r for r in plan.fit_when if r.kind == "two-good-readings")
    first, second = (datetime.fromisoformat(str(two.values[name])) for name in ("first", "second"))
    assert second - first >= timedelta(hours=12) and plan.next_visit == second
    assert second <= NOW + timedelta(days=2)
    assert "first-of-two-readings" in {r.kind for r in plan.steps[-1].reasons}


def test_after_the_first_good_reading_the_second_is_the_next_visit() -> None:
    first = NOW + timedelta(hours=3)
    shock = Dosed(NOW + timedelta(minutes=10), "oxidizer", 20.0)
    events: list[Event] = [saw(lapse=100.0), a_test(0.0, 7.6, 80.0), shock, a_test(5.0, 7.6, 80.0, at=first)]
    events.append(saw(at=first))
    plan = plan_of(*events, now=first)
    assert plan.verdict.kind is VerdictKind.KEEP_OUT
    assert plan.next_visit >= first + timedelta(hours=12)
    assert plan.next_visit <= first + timedelta(hours=30)


def test_a_shock_that_did_not_hold_is_given_again_the_next_day() -> None:
    day = NOW + timedelta(days=1)
    events: list[Event] = [
        saw(lapse=100.0),
        a_test(1.0, 7.6, 80.0, method="photometer"),
        Dosed(NOW, "oxidizer", 20.0),
        a_test(1.0, 7.5, 80.0, method="photometer", at=day),
    ]
    plan = plan_of(*events, saw(at=day), now=day)
    assert plan.situation == "recovery" and "monopersulfate" in doses(plan)


def test_warm_water_long_without_sanitizer_is_purged_and_changed_and_then_begins_anew() -> None:
    events: list[Event] = [saw(lapse=240.0), a_test(0.0, 7.6, 80.0)]
    plan = plan_of(*events)
    assert plan.situation == "long-lapse" and kinds(plan).index(StepKind.DRAIN) < kinds(plan).index(StepKind.FILL)
    assert "purge-pipes" in {s.task for s in plan.steps}
    filled = verdict_of(*events, Filled(NOW + timedelta(hours=1), 1300.0), now=NOW + timedelta(hours=2))
    assert "long-lapse" not in {r.kind for r in filled.reasons}


@pytest.mark.parametrize("beyond", [False, True])
def test_too_much_sanitizer_gets_nothing_but_time_and_a_test(beyond: bool) -> None:
    high = reading(Quantity.BROMINE, 12.0, "fas-dpd-drops")
    if beyond:
        high = replace(reading(Quantity.BROMINE, 10.0), high=float("inf"))
    plan = plan_of(CLEAR, Readings(NOW, (high, reading(Quantity.PH, 7.6))))
    assert plan.situation == "too-high" and doses(plan) == []
    feeders = [s for s in plan.steps if s.kind is StepKind.SET_FEEDER]
    assert feeders and all(s.tablets == 0.0 and s.opening == 0.0 for s in feeders)
    assert plan.steps[-1].kind is StepKind.TEST and plan.next_visit <= NOW + timedelta(hours=25)
    assert plan.after_soak is None


def test_far_too_much_sanitizer_may_be_thinned_by_so_many_litres() -> None:
    earlier = NOW - timedelta(hours=3)
    twice = [Readings(at, (reading(Quantity.BROMINE, 24.0, "fas-dpd-drops", at),)) for at in (earlier, NOW)]
    plan = plan_of(CLEAR, *twice)
    litres = [float(r.values["litres"]) for r in plan.notes if r.kind == "or-change-some-water"]
    assert litres and 300.0 <= litres[0] <= 650.0


def test_a_reading_that_is_hard_to_believe_keeps_people_out_where_it_is_the_worse() -> None:
    plan = plan_of(CLEAR, Readings(NOW, (reading(Quantity.BROMINE, 30.0, "fas-dpd-drops"),)))
    assert plan.verdict.kind is VerdictKind.KEEP_OUT and doses(plan) == []
    assert "reading-far-high" in {r.kind for r in plan.verdict.reasons}


# The test that opens the tub.


@pytest.mark.parametrize(("bromine", "ph"), [(2.0, 7.6), (4.0, 8.2), (4.0, 6.9), (1.0, 7.4)])
@pytest.mark.parametrize("minutes", [None, 30.0])
def test_whatever_keeps_people_out_comes_back_for_its_test_and_not_in_a_week(
    bromine: float, ph: float, minutes: float | None
) -> None:
    plan = plan_of(CLEAR, a_test(bromine, ph, 90.0), wishes=Wishes(minutes=minutes, days=7.0))
    assert plan.verdict.kind is not VerdictKind.FIT
    assert plan.next_visit <= NOW + timedelta(days=2)
    assert "fit-after-test" in {r.kind for r in plan.fit_when}


def test_a_tub_that_is_fit_and_needs_a_dose_is_bathed_in_first() -> None:
    drops = reading(Quantity.TOTAL_ALKALINITY, 40.0, "drop-titration")
    test = Readings(NOW, (*a_test(5.0, 7.4, method="photometer").readings, drops))
    plan = plan_of(CLEAR, test)
    assert plan.verdict.kind is VerdictKind.FIT and doses(plan)
    assert {"bathe-first"} <= {r.kind for r in plan.notes} and "fit-after-test" in {r.kind for r in plan.fit_when}


# What the verdict says.


def test_an_empty_tub_is_said_to_be_empty_and_is_filled() -> None:
    old = a_test(4.0, 7.5, at=NOW - timedelta(hours=2))
    events: list[Event] = [old, Drained(NOW - timedelta(minutes=1), 1300.0), CLEAR]
    verdict = verdict_of(*events)
    assert verdict.kind is VerdictKind.KEEP_OUT and [r.kind for r in verdict.reasons] == ["empty"]
    plan = plan_of(*events)
    assert StepKind.FILL in kinds(plan) and StepKind.DRAIN not in kinds(plan)


def test_a_reading_of_the_old_water_does_not_count_for_the_new() -> None:
    filled = Filled(NOW - timedelta(hours=1), 1300.0)
    old = a_test(5.0, 7.5, method="photometer", at=NOW - timedelta(hours=2))
    verdict = verdict_of(old, filled, CLEAR)
    assert verdict.kind is not VerdictKind.FIT and "no-valid-reading" in {r.kind for r in verdict.reasons}


def beyond(quantity: Quantity, low: float, high: float) -> Reading:
    return replace(reading(quantity, 1.0), low=low, high=high)


@pytest.mark.parametrize(
    ("found", "key"),
    [
        (beyond(Quantity.PH, float("-inf"), 6.8), "below"),
        (beyond(Quantity.PH, 8.4, float("inf")), "above"),
        (beyond(Quantity.PH, 6.8, 7.2), "from"),
        (beyond(Quantity.PH, 6.9, 6.9), "value"),
    ],
)
def test_a_reading_at_the_end_of_its_range_is_told_as_beyond_it(found: Reading, key: str) -> None:
    verdict = verdict_of(CLEAR, Readings(NOW, (reading(Quantity.BROMINE, 4.0), found)))
    told = [r for r in verdict.reasons if r.kind.startswith("reading-") and r.values["quantity"] == "pH"]
    assert key in told[0].values
    assert ("below 6.8" in sentence(told[0])) is (key == "below")
    assert ("above 8.4" in sentence(told[0])) is (key == "above")


def test_what_would_change_it_says_dose_time_or_a_better_test() -> None:
    def changes(bromine: float, method: str = "strip") -> set[str]:
        return {r.kind for r in verdict_of(CLEAR, a_test(bromine, 7.5, method=method)).changes}

    assert "dose-then-test" in changes(1.0) and "better-test" not in changes(1.0)
    assert "better-test" in changes(4.0)
    high = changes(10.8, "photometer")
    assert "let-it-fall" in high and "dose-then-test" not in high


def test_a_call_names_whom_to_call() -> None:
    licensed, authority = (
        step_text(Step(StepKind.CALL, reasons=(Reason(kind),))) for kind in ("repair-first", "authority-first")
    )
    assert licensed != authority


@pytest.mark.parametrize("found", READ, ids=lambda p: p.key)
def test_every_such_plan_can_be_read_in_80_columns(found: Procedure) -> None:
    by_kind = {f"sign-{sign.value.replace(' ', '-')}": sign for sign in Sign} | {"contamination": Sign.CONTAMINATION}
    signs = [by_kind[kind] for kind in sorted(found.reasons) if kind in by_kind]
    wishes = Wishes(occasion=Occasion.UNKNOWN_HISTORY) if found.key == "new-to-me" else None
    lapse = 240.0 if found.key == "long-lapse" else None
    bromine = 0.0 if found.key == "new-to-me" else 4.0
    plan = plan_of(saw(*signs[:1], lapse=lapse), a_test(bromine, 7.5), wishes=wishes)
    lines = render_plan(plan).splitlines()
    assert max(map(len, lines)) <= 80
    assert found.key == plan.situation
