"""The rules that nothing may break, over every purpose that does more than ask the usual planner."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import pytest

from advice import rules_steps as rules
from advice.judged import Answered
from advice.purpose_scenes import BOTH, CHLORINE, GOOD, GOOD_CHLORINE, MEMBERS, about
from advice.scenes import NOW, TUB, filled_tub
from advice.strategies import Drawn
from tubwater.advice import Occasion
from tubwater.facts.purposes import Purpose, Way, purposes
from tubwater.services import case_of
from tubwater.tub import Measure, MeasureKind, Sanitizer, Shelf

KNOWN = filled_tub(calcium_hardness=140.0, total_alkalinity=110.0, ph=7.5).fill
SCALES = (Measure(MeasureKind.SCALE, 1.0, 0.02, 1.0),)
SHELF = Shelf(tuple(p if p.measures else replace(p, measures=SCALES) for p in BOTH.products))
RULES = (
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
MINE = [p for p in purposes().values() if p.way is not Way.SIGNS]


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
    for rule in RULES:
        tally[rule.__name__] += rule(found)
    assert tally["the_clock_of_a_plan_never_runs_back"] == tally["every_number_is_a_number"] == 1
