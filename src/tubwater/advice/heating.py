"""How long filling and heating take, from litres, a hose and kilowatts (calculation), and the tubs on the way there."""

from __future__ import annotations

import copy
from dataclasses import replace

import numpy as np

from tubwater.advice.beside import Beside
from tubwater.chemistry import monopersulfate_rate
from tubwater.facts import defaults
from tubwater.facts.quantity import Quantity
from tubwater.tub import Tub, as_kept, equipment_of

__all__ = [
    "celsius_of",
    "fill_celsius",
    "heat_minutes",
    "heated",
    "heater_kw",
    "hose_minutes",
    "reheat_minutes",
    "warmed",
]

_KWH_PER_LITRE_KELVIN = 4.18 / 3600.0  # heat capacity of water, kJ/(kg K), over seconds in an hour
_COLD_SHARE = 0.1  # of the tub; a smaller change of water cools it by a few degrees only
_STAGE_MINUTES = 240.0  # in which the water may be taken to have one temperature


def hose_minutes(litres: float) -> float:
    """Minutes in which a garden hose gives so many litres, as they are kept."""
    return as_kept(litres / defaults()["hose_litres_per_minute"].value)


def fill_celsius(tub: Tub) -> float:
    """Temperature of the water from the tap, degC: as the keeper states it, or the usual one."""
    return tub.fill.values.get(Quantity.TEMPERATURE, defaults()["fill_temperature"].value)


def heater_kw(tub: Tub) -> float:
    """Power of the heater, kW: the tub's own, or the usual one of its kind (common practice)."""
    return tub.equipment.heater_kw or equipment_of(tub.kind).heater_kw or 0.0


def heat_minutes(tub: Tub, litres: float, celsius: float | None = None) -> float:
    """Minutes, as they are kept, from ``celsius`` (the tap's without it) to the tub's temperature for ``litres``."""
    power = heater_kw(tub) * defaults()["heating_share"].value
    rise = max(tub.temperature - (fill_celsius(tub) if celsius is None else celsius), 0.0)
    return as_kept(60.0 * litres * rise * _KWH_PER_LITRE_KELVIN / power) if power > 0.0 else 0.0


def reheat_minutes(tub: Tub, litres: float) -> float:
    """The same after a partial change; 0 where it is too small to matter."""
    return heat_minutes(tub, litres) if litres > _COLD_SHARE * tub.litres else 0.0


def celsius_of(beside: Beside) -> float:
    """Temperature of the water beside, degC."""
    return float(np.median(beside.state.water.temperature))


def warmed(beside: Beside, celsius: float) -> Beside:
    """The same tubs at another temperature: nothing leaves the water, and monopersulfate works at the new speed."""
    found = copy.copy(beside)
    faster = monopersulfate_rate(celsius) / monopersulfate_rate(beside.state.water.temperature)
    found.rates = replace(beside.rates, monopersulfate_rate=beside.rates.monopersulfate_rate * faster)
    state = replace(beside.state, water=beside.state.water.replaced(temperature=celsius))
    found.state = found.later(state, 0.0)
    return found


def heated(beside: Beside, celsius: float, minutes: float) -> Beside:
    """The tubs after ``minutes`` of heating to ``celsius`` under the cover, in stages of one temperature each."""
    begin, stages = celsius_of(beside), max(1, round(minutes / _STAGE_MINUTES))
    for stage in range(stages):
        beside = warmed(beside, begin + (celsius - begin) * (stage + 0.5) / stages)
        beside.state = beside.later(beside.state, minutes / stages, covered=True)
    return warmed(beside, celsius)
