"""How long filling and heating take, from litres, a hose and kilowatts (calculation)."""

from __future__ import annotations

from tubwater.facts import defaults
from tubwater.tub import Tub

__all__ = ["heat_minutes", "hose_minutes", "reheat_minutes"]

_KWH_PER_LITRE_KELVIN = 4.18 / 3600.0  # heat capacity of water, kJ/(kg K), over seconds in an hour
_COLD_SHARE = 0.1  # of the tub; a smaller change of water cools it by a few degrees only


def hose_minutes(litres: float) -> float:
    """Minutes in which a garden hose gives so many litres."""
    return litres / defaults()["hose_litres_per_minute"].value


def heat_minutes(tub: Tub, litres: float) -> float:
    """Minutes to bring ``litres`` from the tap to the tub's temperature; 0 where the heater is not known."""
    power = (tub.equipment.heater_kw or 0.0) * defaults()["heating_share"].value
    rise = max(tub.temperature - defaults()["fill_temperature"].value, 0.0)
    return 60.0 * litres * rise * _KWH_PER_LITRE_KELVIN / power if power > 0.0 else 0.0


def reheat_minutes(tub: Tub, litres: float) -> float:
    """The same after a partial change; 0 where it is too small to matter."""
    return heat_minutes(tub, litres) if litres > _COLD_SHARE * tub.litres else 0.0
