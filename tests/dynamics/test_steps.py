"""Steps of time: what is conserved, how fast, and how little the length of a step matters."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tubwater.belief import Observer, prior_of
from tubwater.chemistry import INDEX, Water, equilibrate, freeze, water_at_ph
from tubwater.dynamics import Mode, Rates, TubState, advance, refill, soak, top_up, ventilate
from tubwater.facts import Quantity, substances
from tubwater.tub import Sanitizer, Tub

TABLET = substances()["bcdmh"].composition.scaled(0.96)
MEMBERS = 40


def a_tub(seed: int = 0) -> tuple[TubState, Rates]:
    prior = prior_of(Tub("cabin", 1300.0, Sanitizer.BROMINE))
    z = 0.7 * np.random.default_rng(seed).standard_normal((prior.size, MEMBERS))
    values = prior.values(z)
    water = prior.water(values)
    zero = np.zeros(MEMBERS)
    state = TubState(water, zero + 60.0, zero + 3.0, zero + 0.5, equilibrate(water).ph)
    return state, prior.rates(values)


def bromine(state: TubState) -> np.ndarray:
    return Observer(state).read(Quantity.BROMINE)


def test_steps_of_eight_hours_agree_with_steps_of_a_quarter() -> None:
    state, rates = a_tub()
    state = soak(state, rates, 1.0, 2.0)
    coarse, fine = (advance(state, rates, 96.0, Mode.COVERED, TABLET, longest=h) for h in (8.0, 0.25))
    apart = np.abs(bromine(coarse) - bromine(fine)) / (0.5 + bromine(fine))
    assert np.median(apart) < 0.015
    assert np.quantile(apart, 0.8) < 0.1  # the rest is nearly empty of bromine and follows the demand
    assert np.abs(coarse.ph - fine.ph).max() < 0.04


def test_shorter_steps_come_closer() -> None:
    state, rates = a_tub(1)
    finest = bromine(advance(state, rates, 48.0, Mode.COVERED, TABLET, longest=0.25))
    errors = [
        np.abs(bromine(advance(state, rates, 48.0, Mode.COVERED, TABLET, longest=h)) - finest).mean()
        for h in (12.0, 4.0, 1.0)
    ]
    assert errors[0] > errors[1] > errors[2]


@pytest.mark.parametrize("mode", list(Mode))
def test_bromine_is_neither_made_nor_lost_without_a_feeder(mode: Mode) -> None:
    state, rates = a_tub(2)
    before = state.water.bromide + state.water.bromine
    after = advance(state, rates, 3.0, mode).water
    assert after.bromide + after.bromine == pytest.approx(before, rel=1e-12)


def test_spent_halogen_leaves_one_acid_each_and_carbon_dioxide_none() -> None:
    state, rates = a_tub(3)
    later = advance(state, rates, 48.0, Mode.COVERED)
    spent = state.water.bromine - later.water.bromine
    assert state.water.alkalinity - later.water.alkalinity == pytest.approx(spent, abs=1e-12)


def test_idle_loss_halves_the_bromine_in_the_stated_time() -> None:
    state, rates = a_tub(4)
    clean = replace(state, water=state.water.replaced(demand=0.0))
    half_life = np.log(2.0) / rates.idle_decay
    hours = float(np.median(half_life))
    same = replace(rates, idle_decay=np.full(MEMBERS, np.log(2.0) / hours))
    later = advance(clean, same, hours, Mode.COVERED, longest=1.0)
    assert later.water.bromine == pytest.approx(0.5 * clean.water.bromine, rel=1e-9)


def test_jets_drive_out_more_carbon_dioxide_than_a_still_cover() -> None:
    state, rates = a_tub(5)
    rise = {mode: np.median(advance(state, rates, 2.0, mode).ph - state.ph) for mode in Mode}
    assert rise[Mode.COVERED] < rise[Mode.OPEN] < rise[Mode.CIRCULATING] < rise[Mode.SOAKING]


def test_an_hour_of_jets_from_ph_seven_point_two_gives_about_seven_point_five_six() -> None:
    """Alkalinity 80 mg/L, 38 degC, kLa 1 per hour for one hour (calculation with the two-film law)."""
    state, rates = a_tub()
    bare = Water.of(np.full(MEMBERS, 38.0), calcium=1e-3, sodium=1e-3, chloride=1e-3)
    water = water_at_ph(bare, 7.2, 80.0 / 50.044e3 / 0.993)
    one = replace(rates, kla={mode: np.ones(MEMBERS) for mode in Mode})
    later = advance(replace(state, water=water, ph=np.full(MEMBERS, 7.2)), one, 1.0, Mode.SOAKING)
    assert later.ph == pytest.approx(np.full(MEMBERS, 7.56), abs=0.04)


def test_a_cover_left_off_is_the_same_as_a_short_step_in_the_open() -> None:
    state, rates = a_tub(6)
    buffer = freeze(state.water)
    at_once = ventilate(state, rates.kla[Mode.OPEN] * 0.5, rates, buffer)
    step = advance(state, rates, 0.5, Mode.OPEN, buffer=buffer)
    lost = [state.water.carbonate - s.water.carbonate for s in (at_once, step)]
    assert lost[0] == pytest.approx(lost[1], rel=0.04, abs=1e-8)


def test_a_soak_takes_its_fast_share_at_once_and_leaves_the_rest_as_demand() -> None:
    state, rates = a_tub(7)
    rich = replace(state, water=state.water.replaced(bromine=1e-3, demand=0.0))
    after = soak(rich, rates, 1.0, 0.0).water
    load = rates.demand / (rates.litres * 0.993)
    assert 1e-3 - after.bromine == pytest.approx(load * rates.fast_share, rel=1e-9)
    assert after.demand == pytest.approx(load * (1.0 - rates.fast_share), rel=1e-9)


def test_tablets_give_what_they_lose_and_never_more_than_there_is() -> None:
    state, rates = a_tub(8)
    later = advance(state, rates, 24.0 * 400.0, Mode.COVERED, TABLET, longest=24.0)
    given = later.water.totals[INDEX["hydantoin"]] - state.water.totals[INDEX["hydantoin"]]
    dissolved = (state.tablet_grams - later.tablet_grams) / (rates.litres * 0.993)
    assert given == pytest.approx(TABLET.per_gram[INDEX["hydantoin"]] * dissolved, rel=1e-9)
    assert (later.tablet_grams >= 0.0).all()


def test_vapour_concentrates_and_a_drain_dilutes() -> None:
    state, rates = a_tub(9)
    topped, drained = top_up(state, rates, 50.0, lost=False), refill(state, rates, 0.4)
    assert (topped.water.bromide >= state.water.bromide).all()
    assert drained.water.bromide == pytest.approx(0.6 * state.water.bromide)
    assert refill(state, rates, 1.0).water.totals == pytest.approx(rates.fill.totals)


def test_no_time_changes_nothing() -> None:
    state, rates = a_tub(10)
    assert advance(state, rates, 0.0, Mode.COVERED) is state
