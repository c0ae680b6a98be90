"""What a kit or a utility prints comes into the unit of the quantity, or is refused."""

from __future__ import annotations

import pytest

from tubwater.errors import InputError
from tubwater.facts import UNIT_OF, Quantity, in_unit_of
from tubwater.units import UNITS


# Molar masses: CaCO3 100.087, equivalents 50.0435, SO4 96.06, Cl 35.453, CaO 56.077 (IUPAC abridged, from memory).
@pytest.mark.parametrize(
    ("quantity", "value", "unit", "expected"),
    [
        (Quantity.TOTAL_ALKALINITY, 80.0, "ppm", 80.0),
        (Quantity.TOTAL_ALKALINITY, 2.0, "mmol/L", 100.087),
        (Quantity.TOTAL_ALKALINITY, 5.0, "°dH", 89.24),
        (Quantity.CALCIUM_HARDNESS, 2.0, "mmol/L", 200.174),
        (Quantity.TOTAL_HARDNESS, 20.0, "°f", 200.0),
        (Quantity.TOTAL_HARDNESS, 10.0, "gpg", 171.18),
        (Quantity.SULFATE, 1.0, "mmol/L", 96.06),
        (Quantity.CHLORIDE, 2.0, "mmol/L", 70.906),
        (Quantity.TEMPERATURE, 104.0, "°F", 40.0),
        (Quantity.CONDUCTIVITY, 1.2, "mS/cm", 1200.0),
        (Quantity.PH, 7.4, "pH", 7.4),
        (Quantity.BROMINE, 4.0, "", 4.0),
    ],
)
def test_a_value_converts_by_molar_mass_or_definition(
    quantity: Quantity, value: float, unit: str, expected: float
) -> None:
    assert in_unit_of(quantity, value, unit) == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize(
    ("quantity", "unit"),
    [
        (Quantity.BROMINE, "°dH"),
        (Quantity.PH, "mg/L"),
        (Quantity.TEMPERATURE, "mg/L"),
        (Quantity.TOTAL_ALKALINITY, "°F"),
        (Quantity.BROMINE, "mmol/L"),
        (Quantity.CALCIUM_HARDNESS, "grainz"),
    ],
)
def test_a_unit_of_something_else_is_refused(quantity: Quantity, unit: str) -> None:
    with pytest.raises(InputError):
        in_unit_of(quantity, 1.0, unit)


def test_every_quantity_has_a_unit_of_the_list() -> None:
    assert set(UNIT_OF) == set(Quantity)
    assert set(UNIT_OF.values()) <= set(UNITS)


def test_an_open_end_stays_open() -> None:
    assert in_unit_of(Quantity.TEMPERATURE, float("-inf"), "°F") == float("-inf")
    assert in_unit_of(Quantity.TOTAL_HARDNESS, float("inf"), "°dH") == float("inf")
