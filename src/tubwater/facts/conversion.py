"""From the unit that a kit or a report prints to the unit in which the project holds a quantity."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType

from tubwater.chemistry import MG_PER_EQ_CACO3, MG_PER_MOL
from tubwater.errors import InputError
from tubwater.facts.quantity import Quantity
from tubwater.units import Amount, Dimension, find_unit

__all__ = ["UNIT_OF", "in_unit_of"]

_OTHER_UNITS = {
    Quantity.PH: "pH",
    Quantity.CONDUCTIVITY: "µS/cm",
    Quantity.TEMPERATURE: "°C",
    Quantity.TURBIDITY: "NTU",
    Quantity.TABLETS_LEFT: "%",
}
UNIT_OF: Mapping[Quantity, str] = MappingProxyType({q: _OTHER_UNITS.get(q, "mg/L") for q in Quantity})
# mg per mmol; alkalinity by equivalents (1 mmol/L of acid), hardness by mol of calcium and magnesium
_MG_PER_MMOL = {
    Quantity.TOTAL_ALKALINITY: MG_PER_EQ_CACO3,
    Quantity.CALCIUM_HARDNESS: MG_PER_MOL["calcium hardness"],
    Quantity.TOTAL_HARDNESS: MG_PER_MOL["calcium hardness"],
    Quantity.SULFATE: MG_PER_MOL["sulfate"],
    Quantity.CHLORIDE: MG_PER_MOL["chloride"],
    Quantity.SODIUM: MG_PER_MOL["sodium"],
    Quantity.MAGNESIUM: 24.305,
}
_AS_CACO3 = (Quantity.TOTAL_ALKALINITY, Quantity.CALCIUM_HARDNESS, Quantity.TOTAL_HARDNESS)


def in_unit_of(quantity: Quantity, value: float, unit: str, field: str = "unit") -> float:
    """``value`` in ``unit`` as the project holds ``quantity``; an empty unit is already the project's own.

    Degrees of hardness count as mg/L of CaCO3; mmol/L of alkalinity is acid used, of hardness calcium and magnesium.
    The oxidant scale (as Br2, as Cl2) is no unit and stays as it is.  Infinite ends stay infinite.

    Raises:
        InputError: the unit is unknown, or does not measure this quantity.
    """
    factor, offset = _linear(quantity, unit, field)
    return value * factor + offset


@lru_cache(maxsize=256)
def _linear(quantity: Quantity, unit: str, field: str) -> tuple[float, float]:
    own = UNIT_OF[quantity]
    if unit in ("", own):
        return 1.0, 0.0
    found = find_unit(unit, Dimension.HARDNESS if quantity in _AS_CACO3 else None, field)
    if found.dimension is Dimension.AMOUNT_CONCENTRATION and quantity in _MG_PER_MMOL:
        return _MG_PER_MMOL[quantity], 0.0
    alien = found.dimension is Dimension.HARDNESS and quantity not in _AS_CACO3
    target = find_unit(own)
    if alien or (found.dimension is not target.dimension and found.dimension is not Dimension.HARDNESS):
        raise InputError.one(field, unit, f"a unit of {quantity}, such as {own}")
    offset = Amount(0.0, found).to(target)
    return Amount(1.0, found).to(target) - offset, offset
