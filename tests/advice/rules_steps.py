"""Rules of what is added, in which order, and how a plan ends."""

from __future__ import annotations

import math
from datetime import timedelta
from itertools import pairwise

import numpy as np

from advice.judged import (
    BALANCE,
    CACO3,
    SPACING,
    Answered,
    standard,
)
from advice.strategies import NOW
from tubwater.chemistry import dose, equilibrate
from tubwater.facts import Role, substances
from tubwater.facts.quantity import Quantity
from tubwater.tub import (
    CONTAMINATIONS,
    Clarity,
    Dosed,
    Drained,
    FeederSet,
    Filled,
    Noticed,
    Sanitizer,
    Sign,
    Step,
    StepKind,
)

__all__ = [
    "a_changed_water_is_tested_before_anybody_gets_in",
    "a_plan_rests_on_the_same_verdict",
    "a_plan_says_when_people_may_get_in",
    "a_plan_that_adds_vents_and_covers_at_the_end",
    "additions_are_apart_and_stirred_in",
    "bromide_goes_in_once_a_fill",
    "cloudy_or_smelling_water_gets_an_oxidizer_only_on_valid_readings",
    "every_amount_can_be_measured",
    "every_number_is_a_number",
    "every_product_is_in_hand_and_belongs_into_this_tub",
    "keep_out_stands_first_unless_fit",
    "never_acid_and_base_at_one_visit",
    "no_addition_is_above_its_cap",
    "no_dose_raises_a_sanitizer_that_is_too_high",
    "no_feeder_is_set_where_the_sanitizer_is_too_high",
    "nothing_goes_in_while_the_water_is_not_known",
    "nothing_is_mixed_in_one_container",
    "one_family_in_the_feeder",
    "the_clock_of_a_plan_never_runs_back",
    "the_dose_after_a_soak_is_safe",
    "whatever_keeps_people_out_names_its_test_within_two_days",
]


def a_plan_rests_on_the_same_verdict(a: Answered) -> bool:
    assert a.plan.verdict == a.verdict
    return True


def every_product_is_in_hand_and_belongs_into_this_tub(a: Answered) -> bool:
    used = [a.product(s) for s in a.additions]
    if a.plan.after_soak is not None:
        used.append(a.shelf[a.plan.after_soak.amount.product])
    for product in used:
        substance = substances()[product.substance]
        assert product.strength and not substance.refusal(a.drawn.tub.sanitizer)
        assert substance.family not in ("isocyanurate", "peroxide") or a.drawn.tub.sanitizer is Sanitizer.CHLORINE
        assert substance.family != "peroxide"
    return bool(used)


def every_amount_can_be_measured(a: Answered) -> bool:
    for step in a.doses:
        assert step.amount is not None and step.amount.grams > 0.0
        product = a.product(step)
        measure = product.measures[0]
        parts = step.amount.grams / (measure.grams * measure.step)
        assert abs(parts - round(parts)) < 1e-6
        assert step.amount.count == 0.0 or math.isclose(step.amount.count * measure.grams, step.amount.grams)
    return bool(a.doses)


def no_addition_is_above_its_cap(a: Answered) -> bool:
    """Caps as the facts state them: alkalinity, hardness or product, in mg/L of the believed volume."""
    for step in a.doses:
        assert step.amount is not None
        product = a.product(step)
        substance, brings = substances()[product.substance], a.composition(product)
        per_litre = step.amount.grams / a.litres * 1000.0
        if substance.roles & {Role.LOWER_PH, Role.RAISE_ALKALINITY, Role.RAISE_PH}:
            shown = abs(brings.alkalinity) * CACO3 * per_litre
        elif Role.RAISE_CALCIUM in substance.roles:
            shown = float(brings.per_gram[1]) * 100.087 * per_litre
        else:
            shown = per_litre
        assert shown <= substance.cap_mg_per_l * (1.0 + 1e-3)
    return bool(a.doses)


def bromide_goes_in_once_a_fill(a: Answered) -> bool:
    bank = [s for s in a.doses if a.product(s).substance == "sodium-bromide" and s.part == 1]
    assert len(bank) <= 1
    return bool(bank)


def additions_are_apart_and_stirred_in(a: Answered) -> bool:
    """Each waits for the one before it, twenty minutes at least."""
    apart = SPACING if a.drawn.tub.equipment.pump else 2.0 * SPACING
    for before, after in pairwise(a.additions):
        needed = max(apart, substances()[a.product(before).substance].minutes)
        assert after.starts_at - before.starts_at >= needed - 1e-9
    return len(a.additions) > 1


def the_clock_of_a_plan_never_runs_back(a: Answered) -> bool:
    main = [s for s in a.plan.steps if not s.task]
    for before, after in pairwise(main):
        assert after.starts_at >= before.starts_at + before.minutes - 1e-6
    assert all(math.isfinite(s.starts_at) and s.minutes >= 0.0 for s in a.plan.steps)
    return True


def nothing_is_mixed_in_one_container(a: Answered) -> bool:
    """One product a step, each with its own cautions, one of which is never two in one container."""
    for step in a.additions:
        cautions = set(step.cautions)
        assert "one-container" in cautions
        assert cautions >= set(substances()[a.product(step).substance].cautions)
    return bool(a.additions)


def one_family_in_the_feeder(a: Answered) -> bool:
    """In a feeder that held others none goes; a fresh one is laid out first."""
    feeders = [e for e in a.drawn.events if isinstance(e, FeederSet) and e.tablets > 0.0]
    before = max(feeders, key=lambda e: e.at) if feeders else None
    for n, step in enumerate(a.plan.steps):
        if step.kind is StepKind.SET_FEEDER and step.tablets > 0.0:
            assert a.drawn.tub.sanitizer is Sanitizer.BROMINE
            family = substances()[a.product(step).substance].family
            assert family == "hydantoin"
            if before is not None and substances()[a.shelf[before.product].substance].family != family:
                assert "fresh-feeder" in [s.task for s in a.plan.steps[:n]]
    return before is not None


def never_acid_and_base_at_one_visit(a: Answered) -> bool:
    """In one water: what went in before all of it was let out counts no more."""
    found = [_acid_and_base(a, doses) for doses in _waters(a)]
    return any(found)


def _waters(a: Answered) -> list[list[Step]]:
    waters: list[list[Step]] = [[]]
    for step in a.plan.steps:
        if step.kind is StepKind.DRAIN and step.litres >= 0.9 * a.drawn.tub.litres:
            waters.append([])
        elif step.kind is StepKind.DOSE:
            waters[-1].append(step)
    return waters


def _acid_and_base(a: Answered, doses: list[Step]) -> bool:
    roles = [substances()[a.product(s).substance].roles for s in doses]
    acid = any(Role.LOWER_PH in r for r in roles)
    base = any(r & {Role.RAISE_ALKALINITY, Role.RAISE_PH} for r in roles)
    if acid and base:  # fresh water that is balanced, or bicarbonate first; each says from which number to which band
        fresh = a.plan.situation == "fresh-fill" or any(s.litres >= 0.9 * a.drawn.tub.litres for s in a.plan.steps)
        kinds = [Role.LOWER_PH in r for r in roles if r & BALANCE]
        ordered = kinds == sorted(kinds) or (_acid_may_go_first(a, doses) and kinds == sorted(kinds, reverse=True))
        assert fresh or (ordered and not any(Role.RAISE_PH in r for r in roles))
        balanced = [s for s in doses if substances()[a.product(s).substance].roles & BALANCE]
        assert all({"quantity", "value", "low", "high"} <= set(r.values) for s in balanced for r in s.reasons)
    return acid or base


def _acid_may_go_first(a: Answered, doses: list[Step]) -> bool:
    """Read so high that people are kept out, or in water where the bicarbonate alone could bring out lime."""
    read = a.newest(Quantity.PH)
    if read is not None and sum(standard(a, read)) / 2.0 > a.case.guideline.limits[Quantity.PH].bathing_high:
        return True
    if any(s.kind is StepKind.DRAIN for s in a.plan.steps):  # other water than what was read
        return any(r.kind == "acid-makes-room" for s in doses for r in s.reasons)
    base = [s for s in doses if Role.RAISE_ALKALINITY in substances()[a.product(s).substance].roles]
    grams = sum(s.amount.grams for s in base if s.amount)
    water, recipe = a.case.state.water, a.case.products.compositions[a.product(base[0]).name]
    alone = equilibrate(dose(water, recipe, grams, a.case.rates.litres))
    return bool(np.quantile(alone.si_calcite, 0.95) > 0.5 or np.quantile(alone.ph, 0.95) > 8.1)


def nothing_goes_in_while_the_water_is_not_known(a: Answered) -> bool:
    """Readings that contradict each other, a running wait, spoiled colours, what keeps everybody out."""
    look, read, ph = a.look, a.newest(a.sanitizer), a.newest(Quantity.PH)
    waits = any(isinstance(e, Dosed) and NOW - e.at < timedelta(minutes=SPACING) for e in a.drawn.events)
    stops = look is not None and (look.signs & (CONTAMINATIONS | {Sign.SLIME}) or look.clarity is Clarity.CLOUDY)
    fresh = a.plan.situation not in ("in-use", "recovery")
    if not fresh and stops and look is not None and look.signs and look.clarity is Clarity.CLEAR:
        stops = not _changed_since(a, look)  # the sign still stands, its water is gone
    if (waits or stops or a.case.suspects or read is None) and not fresh:
        raise AssertionError(f"{a.plan.situation}: waits {waits}, stops {stops}, suspects {a.case.suspects}, {read}")
    purple = look is not None and Sign.PURPLE_INDICATOR in look.signs
    spoiled = ph is None or purple or (read is not None and standard(a, read)[1] > 10.0)
    if spoiled and not fresh:
        assert not any(substances()[a.product(s).substance].roles & {Role.LOWER_PH, Role.RAISE_PH} for s in a.doses)
    return bool(waits or stops or a.case.suspects or read is None or spoiled)


def cloudy_or_smelling_water_gets_an_oxidizer_only_on_valid_readings(a: Answered) -> bool:
    """Treated water: nothing else declared, sanitizer and pH read, and a look and a test before anybody gets in."""
    treated = a.plan.situation in ("cloudy", "strong-smell", "lasting-foam", "blood")
    if treated:
        assert a.newest(a.sanitizer) is not None and a.newest(Quantity.PH) is not None and not a.case.suspects
        assert a.plan.steps[0].kind is StepKind.KEEP_OUT and a.plan.after_soak is None
    return treated


def whatever_keeps_people_out_names_its_test_within_two_days(a: Answered) -> bool:
    """Within two days, handed over to somebody, or by the last test of fresh water, which is the next visit.

    Fresh water without sanitizer yet has only pH and alkalinity to test.
    """
    if a.fit:
        return False
    filled = any(s.kind is StepKind.FILL for s in a.plan.steps)
    tests = [s for s in a.plan.steps if a.sanitizer in s.quantities or (filled and Quantity.PH in s.quantities)]
    handed = any(s.kind is StepKind.HAND_OVER or s.by for s in tests)
    last = max((s.starts_at + s.minutes for s in tests), default=0.0)
    ends = abs((a.plan.next_visit - NOW).total_seconds() / 60.0 - last) < 15.0  # the cover goes on after it
    assert a.plan.next_visit - NOW <= timedelta(days=2) or handed or ends
    return True


def _changed_since(a: Answered, look: Noticed) -> bool:
    whole = 0.9 * a.drawn.tub.litres
    signed = [e for e in a.drawn.events if isinstance(e, Noticed) and e.signs & look.signs]
    first = min(signed, key=lambda e: e.at)
    later = [e for e in a.drawn.events if e.at >= first.at]
    return any(isinstance(e, Filled) or (isinstance(e, Drained) and e.litres >= whole) for e in later)


def _too_high(a: Answered) -> bool:
    """Read above the limit, in a water that stays: fresh water came since, and of unknown water nothing stays."""
    read = a.newest(a.sanitizer)
    high = read is not None and standard(a, read)[0] > a.case.guideline.limits[a.sanitizer].keep_out_high
    return high and a.plan.situation not in ("fresh-fill", "new-to-me")


def _in_this_water(a: Answered) -> tuple[Step, ...]:
    """The steps until all of the water is let out, where the plan does so."""
    whole = 0.9 * a.drawn.tub.litres
    gone = [i for i, s in enumerate(a.plan.steps) if s.kind is StepKind.DRAIN and s.litres >= whole]
    return a.plan.steps[: gone[0] if gone else None]


def no_dose_raises_a_sanitizer_that_is_too_high(a: Answered) -> bool:
    high, doses = _too_high(a), [s for s in _in_this_water(a) if s.kind is StepKind.DOSE]
    assert not (high and any(a.composition(a.product(s)).oxidant > 0.0 for s in doses))
    return high


def no_feeder_is_set_where_the_sanitizer_is_too_high(a: Answered) -> bool:
    high = _too_high(a)
    assert not (high and any(s.kind is StepKind.SET_FEEDER and s.tablets > 0.0 for s in _in_this_water(a)))
    return high


def a_plan_says_when_people_may_get_in(a: Answered) -> bool:
    kinds = {r.kind for r in a.plan.fit_when}
    if kinds == {"given-away"}:  # nobody gets in here again
        return True
    assert kinds & {"fit-after-test", "fit-now"}
    if a.doses or not a.fit:
        assert "fit-after-test" in kinds and "fit-now" not in kinds
    assert a.plan.next_visit >= a.plan.begins == NOW
    return True


def a_changed_water_is_tested_before_anybody_gets_in(a: Answered) -> bool:
    drained = any(s.kind in (StepKind.DRAIN, StepKind.FILL) for s in a.plan.steps)
    assert not drained or "fit-now" not in {r.kind for r in a.plan.fit_when}
    return drained


def a_plan_that_adds_vents_and_covers_at_the_end(a: Answered) -> bool:
    kinds = [s.kind for s in a.plan.steps]
    if a.doses:
        last = max(i for i, s in enumerate(a.plan.steps) if s.kind is StepKind.DOSE)
        assert StepKind.VENT in kinds[last:] and StepKind.COVER in kinds[last:]
        assert StepKind.PREPARE in kinds[:last]
    return bool(a.doses)


def keep_out_stands_first_unless_fit(a: Answered) -> bool:
    if not a.fit:
        assert a.plan.steps[0].kind is StepKind.KEEP_OUT
    return not a.fit


def the_dose_after_a_soak_is_safe(a: Answered) -> bool:
    after = a.plan.after_soak
    if after is None:
        return False
    substance = substances()[after.amount.substance]
    assert after.amount.grams > 0.0 and after.wait_minutes >= SPACING
    assert set(after.cautions) >= set(substance.cautions)
    assert after.amount.grams <= substance.cap_mg_per_l * a.litres / 1000.0 + 1e-9
    assert after.amount.grams <= after.daily_cap_grams <= substance.cap_mg_per_l * a.litres / 1000.0 * 1.001
    return True


def every_number_is_a_number(a: Answered) -> bool:
    rows = [*a.plan.end, *a.plan.low_point, *(e for s in a.plan.steps for e in s.expected)]
    assert all(math.isfinite(x) for e in rows for x in (e.low, e.median, e.high))
    assert all(0.0 <= s.opening <= 1.0 and s.tablets == round(s.tablets) >= 0 for s in a.plan.steps)
    assert all(0.0 <= s.litres <= 1.2 * a.drawn.tub.litres for s in a.plan.steps)
    if a.plan.outcome is not None:
        o = a.plan.outcome
        assert all(-1e-9 <= x <= 1.0 + 1e-9 for x in (o.in_band, o.in_band_without_plan, o.below_limit, o.above_limit))
    return True
