"""The rules that nothing may break, each judged on one answer without asking the code that gave it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable

from advice.judged import Answered, answered
from advice.rules_steps import (
    a_changed_water_is_tested_before_anybody_gets_in,
    a_plan_rests_on_the_same_verdict,
    a_plan_says_when_people_may_get_in,
    a_plan_that_adds_vents_and_covers_at_the_end,
    additions_are_apart_and_stirred_in,
    bromide_goes_in_once_a_fill,
    cloudy_or_smelling_water_gets_an_oxidizer_only_on_valid_readings,
    every_amount_can_be_measured,
    every_number_is_a_number,
    every_product_is_in_hand_and_belongs_into_this_tub,
    keep_out_stands_first_unless_fit,
    never_acid_and_base_at_one_visit,
    no_addition_is_above_its_cap,
    no_dose_raises_a_sanitizer_that_is_too_high,
    no_feeder_is_set_where_the_sanitizer_is_too_high,
    nothing_goes_in_while_the_water_is_not_known,
    nothing_is_mixed_in_one_container,
    one_family_in_the_feeder,
    the_clock_of_a_plan_never_runs_back,
    the_dose_after_a_soak_is_safe,
    whatever_keeps_people_out_names_its_test_within_two_days,
)
from advice.rules_verdict import (
    a_verdict_says_as_of_and_good_until,
    fit_holds_to_its_last_minute,
    fit_needs_a_look_that_found_nothing,
    fit_needs_a_sure_belief,
    fit_needs_every_soak_noted,
    fit_needs_fresh_readings,
    fit_needs_readings_inside_the_bathing_limits,
    fit_needs_water_of_forty_degrees_at_most,
    fit_says_how_many_for_how_long,
    no_reading_counts_inside_the_monopersulfate_window,
    no_single_reading_ends_a_lapse,
    no_single_reading_ends_a_low_reading_of_unknown_age,
    nothing_is_fit_while_a_wait_runs,
)
from advice.rules_water import (
    a_plan_ends_inside_ph_where_the_test_allows_it,
    a_step_expects_what_the_water_will_read,
    no_air_takes_the_water_out_of_its_limits,
    no_dose_and_no_drain_takes_calcite_above_its_limit,
    no_dose_takes_ph_out_of_its_limits,
    no_dose_takes_the_oxidant_far_above_a_shock,
    no_dose_takes_the_sanitizer_too_high_undeclared,
    no_drain_takes_ph_out_of_its_limits,
    no_feeder_takes_the_sanitizer_too_high,
    no_wait_takes_the_water_out_of_its_limits,
    what_stood_for_hours_is_tested_before_it_is_balanced,
)

__all__ = ["RULES", "answered", "check"]

RULES: tuple[Callable[[Answered], bool], ...] = (
    fit_needs_readings_inside_the_bathing_limits,
    fit_needs_fresh_readings,
    fit_needs_a_sure_belief,
    fit_needs_water_of_forty_degrees_at_most,
    fit_needs_a_look_that_found_nothing,
    fit_needs_every_soak_noted,
    no_single_reading_ends_a_lapse,
    no_single_reading_ends_a_low_reading_of_unknown_age,
    nothing_is_fit_while_a_wait_runs,
    no_reading_counts_inside_the_monopersulfate_window,
    a_verdict_says_as_of_and_good_until,
    fit_says_how_many_for_how_long,
    a_plan_rests_on_the_same_verdict,
    every_product_is_in_hand_and_belongs_into_this_tub,
    every_amount_can_be_measured,
    no_addition_is_above_its_cap,
    bromide_goes_in_once_a_fill,
    additions_are_apart_and_stirred_in,
    the_clock_of_a_plan_never_runs_back,
    nothing_is_mixed_in_one_container,
    one_family_in_the_feeder,
    never_acid_and_base_at_one_visit,
    nothing_goes_in_while_the_water_is_not_known,
    no_dose_raises_a_sanitizer_that_is_too_high,
    no_dose_takes_ph_out_of_its_limits,
    no_air_takes_the_water_out_of_its_limits,
    no_dose_and_no_drain_takes_calcite_above_its_limit,
    no_dose_takes_the_sanitizer_too_high_undeclared,
    a_plan_says_when_people_may_get_in,
    a_plan_that_adds_vents_and_covers_at_the_end,
    keep_out_stands_first_unless_fit,
    no_feeder_is_set_where_the_sanitizer_is_too_high,
    a_changed_water_is_tested_before_anybody_gets_in,
    the_dose_after_a_soak_is_safe,
    cloudy_or_smelling_water_gets_an_oxidizer_only_on_valid_readings,
    whatever_keeps_people_out_names_its_test_within_two_days,
    every_number_is_a_number,
    no_dose_takes_the_oxidant_far_above_a_shock,
    no_feeder_takes_the_sanitizer_too_high,
    fit_holds_to_its_last_minute,
    no_wait_takes_the_water_out_of_its_limits,
    what_stood_for_hours_is_tested_before_it_is_balanced,
    a_plan_ends_inside_ph_where_the_test_allows_it,
    no_drain_takes_ph_out_of_its_limits,
    a_step_expects_what_the_water_will_read,
)


def check(a: Answered, tally: Counter[str]) -> None:
    """Asserts every rule, and counts those that had something to judge."""
    for rule in RULES:
        if rule(a):
            tally[rule.__name__] += 1
