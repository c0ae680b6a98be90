"""The rules that nothing may break, over everything that a plan can be asked for, and over all that stops a tub."""

from __future__ import annotations

import os
from collections import Counter
from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from advice import rules_steps as rules
from advice.judged import MEMBERS as FEW
from advice.judged import Answered
from advice.purpose_scenes import BOTH, CHLORINE, GOOD, GOOD_CHLORINE, MEMBERS, about
from advice.rules import RULES, check
from advice.scenes import NOW, TUB, filled_tub
from advice.strategies import Drawn, logbooks, nearly_fit, shelves, tubs
from tubwater.advice import About, Occasion, Wishes, judge, make_plan
from tubwater.advice.senses import kind_of_sign
from tubwater.facts import Role, substances
from tubwater.facts.purposes import Purpose, Way, purposes
from tubwater.facts.situations import procedures
from tubwater.services import case_of
from tubwater.tub import (
    Answer,
    Clarity,
    Dosed,
    Drained,
    Event,
    Filled,
    Measure,
    MeasureKind,
    Noticed,
    Plan,
    Sanitizer,
    Shelf,
    Sign,
    Soaked,
)

KNOWN = filled_tub(calcium_hardness=140.0, total_alkalinity=110.0, ph=7.5).fill
SCALES = (Measure(MeasureKind.SCALE, 1.0, 0.02, 1.0),)
SHELF = Shelf(tuple(p if p.measures else replace(p, measures=SCALES) for p in BOTH.products))
OF_STEPS = (
    rules.every_product_is_in_hand_and_belongs_into_this_tub,
    rules.every_amount_can_be_measured,
    rules.no_addition_is_above_its_cap,
    rules.bromide_goes_in_once_a_fill,
    rules.additions_are_apart_and_stirred_in,
    rules.the_clock_of_a_plan_never_runs_back,
    rules.nothing_is_mixed_in_one_container,
    rules.one_family_in_the_feeder,
    rules.never_acid_and_base_at_one_visit,
    rules.a_plan_says_when_people_may_get_in,
    rules.a_changed_water_is_tested_before_anybody_gets_in,
    rules.a_plan_that_adds_vents_and_covers_at_the_end,
    rules.keep_out_stands_first_unless_fit,
    rules.the_dose_after_a_soak_is_safe,
    rules.every_number_is_a_number,
)
KINDS_OF = {kind_of_sign(sign): sign for sign in Sign}
MINE = [p for p in purposes().values() if p.way is not Way.SIGNS]
SELDOM = frozenset(
    ("stays-cloudy", "new-to-me", "cloudy", "strong-smell", "lasting-foam", "blood")
)  # read first, mostly
CHECKED = os.environ.get("TUBWATER_PROFILE") == "check"
DRAWS = 6 if CHECKED else 2
WIDE = settings(
    max_examples=DRAWS, deadline=None, phases=(Phase.reuse, Phase.generate), suppress_health_check=list(HealthCheck)
)
# What the judge of a rule cannot know: a blend, a tub that stays empty, and a keeper who is away.
UNKNOWN_TO_THE_JUDGE: dict[Way, frozenset[str]] = {
    Way.SIGNS: frozenset(("a_plan_rests_on_the_same_verdict",)),
    **dict.fromkeys((Way.EMPTY, Way.AWAY), frozenset(("whatever_keeps_people_out_names_its_test_within_two_days",))),
    Way.ANEW: frozenset(("a_step_expects_what_the_water_will_read",)),
}


def answered(purpose: Purpose) -> Answered:
    """The purpose asked of a tub that can have it, judged as the tub that it is afterwards."""
    tub = replace(CHLORINE if purpose.tub == "chlorine" else TUB, fill=KNOWN)
    events = GOOD_CHLORINE if purpose.tub == "chlorine" else GOOD
    plan = about(purpose.key, tub, SHELF, events)
    then = replace(tub, sanitizer=Sanitizer(purpose.becomes)) if purpose.becomes else tub
    drawn = Drawn(then, SHELF, events, None, 7.0, None, Occasion.USUAL, 0, 0)
    return Answered(drawn, case_of(tub, SHELF, events, NOW, members=MEMBERS), plan.verdict, plan)


@pytest.mark.parametrize("purpose", MINE, ids=lambda p: p.key)
def test_a_plan_for_something_keeps_the_rules_of_any_plan(purpose: Purpose) -> None:
    found, tally = answered(purpose), Counter[str]()
    for rule in OF_STEPS:
        tally[rule.__name__] += rule(found)
    assert tally["the_clock_of_a_plan_never_runs_back"] == tally["every_number_is_a_number"] == 1


@st.composite
def asked_of(draw: st.DrawFn, purpose: Purpose) -> tuple[Drawn, About]:
    """Any tub that can have it, with any logbook and any numbers that are asked for."""
    tub = draw(tubs())
    tub = replace(tub, sanitizer=Sanitizer(purpose.tub)) if purpose.tub else tub
    shelf = draw(shelves(Sanitizer(purpose.becomes) if purpose.becomes else tub.sanitizer))
    events = draw(logbooks(tub, shelf) | nearly_fit(tub, shelf))
    most = {"litres": 0.9 * tub.litres}  # more is refused
    said = {
        name: draw(st.none() | st.floats(ask.low, min(ask.high, most.get(name, ask.high))))
        for name, ask in purpose.asks.items()
    }
    drawn = Drawn(tub, shelf, events, None, 7.0, None, Occasion.USUAL, draw(st.integers(0, 2**16)), 0)
    return drawn, About(purpose.key, **said)


def judged(drawn: Drawn, about: About | None) -> Answered:
    """The answer, with the tub that it is afterwards where the plan changes its sanitizer."""
    case = case_of(drawn.tub, drawn.shelf, drawn.events, NOW, drawn.seed, FEW)
    plan = make_plan(case, Wishes(later_by="somebody", about=about), drawn.seed)
    return Answered(drawn, case, judge(case), plan, bathed_by(plan, drawn))


def bathed_by(plan: Plan, drawn: Drawn) -> tuple[float, float] | None:
    """People and minutes that a plan about bathing counts on; a soak that is noted is in the belief already."""
    if plan.situation not in ("before-party", "after-soak") or any(isinstance(e, Soaked) for e in drawn.events):
        return None
    (uses,) = [r for r in plan.notes if r.kind == "party-uses"]
    return float(uses.values["people"]), float(uses.values["minutes"])


@pytest.mark.parametrize("purpose", purposes().values(), ids=lambda p: p.key)
def test_whatever_the_tub_a_plan_for_something_breaks_no_rule(purpose: Purpose) -> None:
    tally, left_out = Counter[str](), UNKNOWN_TO_THE_JUDGE.get(purpose.way, frozenset())
    mine = OF_STEPS if purpose.becomes else tuple(rule for rule in RULES if rule.__name__ not in left_out)

    @seed(len(purpose.key))
    @WIDE
    @given(asked_of(purpose))
    def keeps_the_rules(asked: tuple[Drawn, About]) -> None:
        found = judged(*asked)
        tally["asked"] += 1
        tally["planned as asked"] += found.plan.situation == purpose.key
        own = found.plan.situation == purpose.key and purpose.becomes
        if own:
            found = replace(found, drawn=replace(found.drawn, tub=replace(found.drawn.tub, sanitizer=Sanitizer(own))))
        for rule in mine:
            tally[rule.__name__] += rule(found)

    keeps_the_rules()
    print(dict(tally))
    assert tally["asked"] >= DRAWS


@st.composite
def stopped(draw: st.DrawFn, key: str, reasons: frozenset[str]) -> Drawn:
    """Any tub at which just this was seen: its sign, murky water, murky since a shock a day ago, or a long lapse."""
    tub = draw(tubs())
    shelf = draw(shelves(tub.sanitizer))
    events: tuple[Event, ...] = tuple(
        e for e in draw(logbooks(tub, shelf)) if not isinstance(e, Noticed | Drained | Filled)
    )
    signs = frozenset(KINDS_OF[kind] for kind in reasons & set(KINDS_OF))
    murky = Clarity.CLOUDY if key in ("cloudy", "stays-cloudy") else Clarity.CLEAR
    if key == "stays-cloudy":
        events = (*events, *murky_since_a_shock(draw, shelf))
    if signs:
        signs = frozenset((draw(st.sampled_from(sorted(signs))),))
    look = Noticed(NOW, murky, signs, 300.0 if key == "long-lapse" else None, Answer.NO)
    occasion = Occasion.UNKNOWN_HISTORY if key == "new-to-me" else Occasion.USUAL
    return Drawn(tub, shelf, (*events, look), None, 1.0, None, occasion, draw(st.integers(0, 2**16)), 0)


def murky_since_a_shock(draw: st.DrawFn, shelf: Shelf) -> tuple[Event, ...]:
    """A look a day ago that saw the same, and an oxidizer right after it, where there is one."""
    pots = [p for p in shelf.products if substances()[p.substance].roles & {Role.OXIDIZER, Role.CHLORINE_DOSE}]
    then = NOW - timedelta(hours=25)
    shock = (Dosed(then + timedelta(minutes=5), draw(st.sampled_from(pots)).name, 60.0),) if pots else ()
    return (Noticed(then, Clarity.CLOUDY, unlogged_soak=Answer.NO), *shock)


@pytest.mark.parametrize("key", procedures())
def test_whatever_the_tub_a_procedure_that_stops_it_breaks_no_rule(key: str) -> None:
    tally = Counter[str]()

    @seed(len(key))
    @WIDE
    @given(stopped(key, procedures()[key].reasons))
    def keeps_the_rules(drawn: Drawn) -> None:
        found = judged(drawn, None)
        tally["asked"] += 1
        tally["this procedure"] += found.plan.situation == key
        check(found, tally)

    keeps_the_rules()
    print(dict(tally))
    assert tally["asked"] >= DRAWS
    assert tally["this procedure"] or key in SELDOM
