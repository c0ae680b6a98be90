"""Rules of the verdict: the two locks, and what a verdict says."""

from __future__ import annotations

from datetime import timedelta

import numpy as np

from advice.judged import (
    BANNED_SIGNS,
    MEMBERS,
    SPACING,
    Answered,
    look_at,
    standard,
)
from advice.strategies import NOW
from tubwater.dynamics import Mode, advance, soak
from tubwater.facts.quantity import Quantity
from tubwater.tub import (
    Answer,
    Clarity,
    Dosed,
    Filled,
    Noticed,
    Setting,
)
from tubwater.tub import Tested as Readings

__all__ = [
    "a_verdict_says_as_of_and_good_until",
    "fit_holds_to_its_last_minute",
    "fit_needs_a_look_that_found_nothing",
    "fit_needs_a_sure_belief",
    "fit_needs_every_soak_noted",
    "fit_needs_fresh_readings",
    "fit_needs_readings_inside_the_bathing_limits",
    "fit_needs_water_of_forty_degrees_at_most",
    "fit_says_how_many_for_how_long",
    "no_reading_counts_inside_the_monopersulfate_window",
    "no_single_reading_ends_a_lapse",
    "no_single_reading_ends_a_low_reading_of_unknown_age",
    "nothing_is_fit_while_a_wait_runs",
]


def fit_needs_readings_inside_the_bathing_limits(a: Answered) -> bool:
    """Inside, and not on a limit: what reads as the limit lies as likely outside."""
    if a.fit:
        for quantity in (a.sanitizer, Quantity.PH):
            reading, limits = a.newest(quantity), a.case.guideline.limits[quantity]
            assert reading is not None
            low, high = standard(a, reading)
            assert limits.bathing_low < low and high < limits.bathing_high
    return a.fit


def fit_needs_fresh_readings(a: Answered) -> bool:
    if a.fit:
        for quantity in (a.sanitizer, Quantity.PH):
            reading = a.newest(quantity)
            assert reading is not None
            age = NOW - reading.at
            assert age <= timedelta(hours=72)
            if a.drawn.tub.setting is not Setting.HOME:
                assert age <= timedelta(hours=a.case.guideline.test_interval_hours)
            elif len([e for e in a.drawn.events if isinstance(e, Readings)]) == 1:
                assert age <= timedelta(hours=24)
    return a.fit


def fit_needs_a_sure_belief(a: Answered) -> bool:
    if a.fit:
        now, limits = a.replayed[-1][0], a.case.guideline.limits
        assert np.mean(now.sanitizer >= limits[a.sanitizer].bathing_low * (1.0 - 1e-6)) >= 0.95
        ph = limits[Quantity.PH]
        assert np.mean((now.ph >= ph.bathing_low - 1e-6) & (now.ph <= ph.bathing_high + 1e-6)) >= 0.90
        assert not a.case.suspects
    return a.fit


def fit_needs_water_of_forty_degrees_at_most(a: Answered) -> bool:
    read = a.newest(Quantity.TEMPERATURE)
    hot = a.drawn.tub.temperature > 40.0 or (read is not None and read.value > 40.0)
    assert not (hot and a.fit)
    return hot


def fit_needs_a_look_that_found_nothing(a: Answered) -> bool:
    look = a.look
    good = look is not None and look.clarity is Clarity.CLEAR and not look.signs & BANNED_SIGNS
    assert good or not a.fit
    return not good


def fit_needs_every_soak_noted(a: Answered) -> bool:
    unsure = a.look is None or a.look.unlogged_soak is not Answer.NO
    assert not (unsure and a.fit)
    return unsure


def no_single_reading_ends_a_lapse(a: Answered) -> bool:
    """A lapse that was told, by whichever look: two good readings twelve hours apart since, and over a week a drain."""
    told = [e for e in a.drawn.events if isinstance(e, Noticed) and (e.lapse_hours or 0.0) > 24.0]
    for look in told if a.fit else ():
        fills = [e.at for e in a.drawn.events if isinstance(e, Filled) and e.at > look.at]
        assert (look.lapse_hours or 0.0) <= 168.0 or fills
        assert fills or _two_good_since(a, look)
    return bool(told)


def _two_good_since(a: Answered, look: Noticed) -> bool:
    low = a.case.guideline.limits[a.sanitizer].bathing_low
    rows = [r for e in a.drawn.events if isinstance(e, Readings) for r in e.readings if r.quantity is a.sanitizer]
    good = [r.at for r in rows if r.at >= look.at and standard(a, r)[0] >= low]
    return bool(good) and max(good) - min(good) >= timedelta(hours=12)


def no_single_reading_ends_a_low_reading_of_unknown_age(a: Answered) -> bool:
    """Below the limit with no good reading in the day before it: for how long is not known."""
    rows = [r for e in a.drawn.events if isinstance(e, Readings) for r in e.readings if r.quantity is a.sanitizer]
    floor = 2.0 if a.sanitizer is Quantity.BROMINE else 1.0
    low = [r for r in rows if standard(a, r)[1] < floor]
    unknown = [r for r in low if not any(r.at - timedelta(hours=24) <= s.at < r.at and s not in low for s in rows)]
    for reading in unknown if a.fit else ():
        assert _two_good_since(a, Noticed(reading.at + timedelta(seconds=1)))
    return bool(unknown)


def nothing_is_fit_while_a_wait_runs(a: Answered) -> bool:
    recent = [e for e in a.drawn.events if isinstance(e, Dosed) and NOW - e.at < timedelta(minutes=SPACING)]
    assert not (recent and a.fit)
    return bool(recent)


def no_reading_counts_inside_the_monopersulfate_window(a: Answered) -> bool:
    """Half of the members have less than a tenth of the dose left when the reading was taken, or a day went by."""
    dosed = [e for e in a.drawn.events if isinstance(e, Dosed) and a.shelf[e.product].substance == "monopersulfate"]
    for e in dosed if a.fit else ():
        reading = a.newest(a.sanitizer)
        assert reading is not None
        if e.at <= reading.at < e.at + timedelta(hours=24):
            water = a.case.state.water
            rate = a.case.rates.monopersulfate_rate * (water.bromide + water.bromine)
            left = np.exp(-rate * (reading.at - e.at).total_seconds())
            assert np.median(left) < 0.1
        assert e.at + timedelta(minutes=SPACING) <= NOW
    return bool(dosed)


def a_verdict_says_as_of_and_good_until(a: Answered) -> bool:
    v = a.verdict
    assert v.as_of == NOW and v.reasons
    assert 0.0 <= v.probability_sanitizer <= 1.0 and 0.0 <= v.probability_ph <= 1.0
    if not a.fit:
        assert v.good_until == v.as_of and v.people == 0 and v.minutes == 0.0
        return True
    oldest = min(r.at for q in (a.sanitizer, Quantity.PH) if (r := a.newest(q)) is not None)
    assert NOW < v.good_until <= oldest + timedelta(hours=a.case.guideline.max_test_age_hours)
    return True


def fit_says_how_many_for_how_long(a: Answered) -> bool:
    if a.fit:
        v, g = a.verdict, a.case.guideline
        assert 1 <= v.people <= np.quantile(a.case.rates.litres, 0.05) / g.litres_per_bather
        assert 0.0 < v.minutes <= g.session_minutes
        after = soak(a.case.state, a.case.rates, v.people * v.minutes / 60.0, float(v.people))
        left = look_at(a, after, None).sanitizer
        assert np.mean(left >= g.limits[a.sanitizer].keep_out_low) >= 0.95 - 1.0 / MEMBERS
    return a.fit


def fit_holds_to_its_last_minute(a: Answered) -> bool:
    """Covered and unused, the belief is still sure of both when ``good_until`` comes."""
    if a.fit:
        hours = (a.verdict.good_until - NOW).total_seconds() / 3600.0
        state = advance(a.case.state, a.case.rates, hours, Mode.COVERED, a.case.products.tablet)
        later, limits = look_at(a, state, None), a.case.guideline.limits
        assert np.mean(later.sanitizer >= limits[a.sanitizer].bathing_low - 0.05) >= 0.95 - 1.0 / MEMBERS
        ph = limits[Quantity.PH]
        inside = (later.ph >= ph.bathing_low - 0.02) & (later.ph <= ph.bathing_high + 0.02)
        assert np.mean(inside) >= 0.90 - 1.0 / MEMBERS
    return a.fit
