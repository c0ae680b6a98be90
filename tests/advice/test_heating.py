"""Cold water on its way to warm, and air that drives carbon dioxide out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from advice.fresh_scenes import (
    MEMBERS,
    NOW,
    ORDINARY,
    SHELF,
    a_tub,
    fresh,
    of,
    why,
)
from tubwater.advice import Situation
from tubwater.advice.aeration import aerated, air_minutes
from tubwater.advice.beside import Beside
from tubwater.advice.heating import celsius_of, heat_minutes, heated, warmed
from tubwater.belief import Observer
from tubwater.chemistry import water_at_ph
from tubwater.dynamics import Mode, TubState
from tubwater.facts import Quantity
from tubwater.services.advise import case_of
from tubwater.tub import (
    Plan,
    StepKind,
    as_kept,
)


def test_a_cold_fill_is_dosed_as_cold_as_it_is() -> None:
    """At 8 degC the rate of HSO5- with Br- is an eighth of that at 38 degC (Arrhenius, 50 kJ/mol, from memory)."""
    cold, mild = (fresh(a_tub(temperature=c, **ORDINARY)) for c in (8.0, 20.0))

    def hours(plan: Plan) -> float:
        reasons = (r for s in of(plan, StepKind.DOSE) for r in s.reasons if r.kind == "sanitize-while-heating")
        return float(next(reasons).values["hours"])

    assert hours(cold) == pytest.approx(hours(mild) * np.exp(50e3 / 8.314 * (1 / 281.15 - 1 / 293.15)), rel=0.1)
    assert "still-cold" in why(of(cold, StepKind.PREPARE)[0])
    assert of(cold, StepKind.HEAT)[0].minutes > of(mild, StepKind.HEAT)[0].minutes
    react = next(s for s in of(cold, StepKind.WAIT) if "let-it-react" in why(s))
    assert react.minutes < 0.3 * 60.0 * hours(cold)  # the activation comes when the water is warm


def test_the_ph_falls_as_the_water_is_heated_under_the_cover() -> None:
    """Closed heating from 20 to 38 degC lowers the pH by 0.095 at 7.5 (calculation with a geochemical code)."""
    case = case_of(a_tub(total_alkalinity=100.0, calcium_hardness=150.0, ph=7.5), SHELF, [], NOW, 0, MEMBERS)
    at20 = warmed(Beside(replace(case, belief=replace(case.belief, state=_at_ph(case, 7.5, 20.0)))), 20.0)
    fallen = float(np.median(warmed(at20, 38.0).ph() - at20.ph()))
    assert fallen == pytest.approx(-0.095, abs=0.02)


def _at_ph(case: Situation, ph: float, celsius: float) -> TubState:
    water = case.rates.fill.replaced(temperature=celsius)
    return replace(case.state, water=water_at_ph(water, ph, water.alkalinity), ph=np.full(case.belief.size, ph))


def test_heating_is_litres_by_kelvin_by_the_heat_capacity_of_water() -> None:
    """1,300 L by 26 K at 4.18 kJ/(kg K) are 39.2 kWh; with 2 kW, nine tenths of it in the water, 21.8 h: 22 as kept."""
    assert heat_minutes(a_tub(**ORDINARY), 1300.0) == as_kept(60.0 * 1300 * 26 * 4.18 / 3600 / 1.8) == 22 * 60.0


def test_an_unknown_heater_is_taken_as_usual_for_its_kind() -> None:
    tub = a_tub(**ORDINARY)
    bare = replace(tub, equipment=replace(tub.equipment, heater_kw=None))
    assert heat_minutes(bare, 1300.0) == heat_minutes(tub, 1300.0)


def test_heated_tubs_have_the_new_temperature_and_the_speed_of_it() -> None:
    beside = warmed(Beside(case_of(a_tub(**ORDINARY), SHELF, [], NOW, 0, MEMBERS)), 12.0)
    hot = heated(beside, 38.0, 600.0)
    assert celsius_of(hot) == pytest.approx(38.0) and celsius_of(beside) == pytest.approx(12.0)
    assert float(np.median(hot.rates.monopersulfate_rate / beside.rates.monopersulfate_rate)) > 4.0


def test_air_minutes_follow_the_gas_exchange() -> None:
    """At alkalinity 80, pH 7.2 becomes 7.4 after kLa t of 0.52 (calculation with a geochemical code)."""
    case = case_of(a_tub(total_alkalinity=80.0, calcium_hardness=100.0, ph=7.2), SHELF, [], NOW, 0, MEMBERS)
    state = _at_ph(case, 7.2, 38.0)
    beside = Beside(replace(case, belief=replace(case.belief, state=state)))
    kla = float(np.median(beside.rates.kla[Mode.SOAKING]))
    assert air_minutes(beside, 7.4) == pytest.approx(60.0 * 0.52 / kla, abs=7.5)
    after = Observer(aerated(beside, beside.state, 30.0))
    before = Observer(beside.state)
    assert np.allclose(after.read(Quantity.TOTAL_ALKALINITY), before.read(Quantity.TOTAL_ALKALINITY), rtol=1e-3)
    assert air_minutes(beside, 7.1) == 0.0
