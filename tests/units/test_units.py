"""Units are a closed list, and an amount that could be read two ways is refused."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tubwater.errors import InputError
from tubwater.units import UNITS, Amount, Dimension, find_unit, parse_amount, parse_number

READ = [
    ("1300 L", 1300.0, "L"),
    ("1 300 litres", 1300.0, "L"),
    ("1\u202f300 L", 1300.0, "L"),
    ("1'300 l", 1300.0, "L"),
    ("1,300.5 L", 1300.5, "L"),
    ("1.300,5 L", 1300.5, "L"),
    ("1,234,567 mg", 1234567.0, "mg"),
    ("1,5 kg", 1.5, "kg"),
    ("1.5m³", 1.5, "m3"),
    ("0.250 kg", 0.25, "kg"),
    ("0,125 kg", 0.125, "kg"),
    (".5 oz", 0.5, "oz"),
    ("1 1/2 oz", 1.5, "oz"),
    ("3/4 lb", 0.75, "lb"),
    ("350 US gal", 350.0, "US gal"),
    ("350 us gallons", 350.0, "US gal"),
    ("2 imp fl oz", 2.0, "imp fl oz"),
    ("104 °F", 104.0, "°F"),
    ("104 F", 104.0, "°F"),
    ("-3 °C", -3.0, "°C"),
    ("80 ppm", 80.0, "ppm"),
    ("80 MG/L", 80.0, "mg/L"),
    ("12 °dH", 12.0, "°dH"),
    ("21 french degrees", 21.0, "°fH"),
    ("300 \u03bcS/cm", 300.0, "µS/cm"),
    ("90 min", 90.0, "min"),
    ("3 KW", 3.0, "kW"),
    ("93.2 %", 93.2, "%"),
]


@pytest.mark.parametrize(("text", "value", "unit"), READ, ids=[row[0] for row in READ])
def test_an_amount_is_read_as_people_write_it(text: str, value: float, unit: str) -> None:
    assert parse_amount(text) == Amount(value, UNITS[unit])


REFUSED = [
    ("1,300 L", "1300 (without a mark) or 1.3"),
    ("1.300 L", "1300 (without a mark) or 1.3"),
    ("350 gal", '"US gal" or "imp gal"'),
    ("5 gallons", '"US gal" or "imp gal"'),
    ("3 fl oz", '"US fl oz" or "imp fl oz"'),
    ("40 °f", '"°F" for a temperature or "°fH"'),
    ("2 cups", '"g" or "mL"'),
    ("5 m", '"min" for minutes'),
    ("1300", "its unit"),
    ("L", "a number with"),
    ("", "a number with"),
    ("nan L", "a number with"),
    ("inf L", "a number with"),
    ("-5 kg", "zero or more"),
    ("12,34,5 L", "a number"),
    ("1 30 L", "a number"),
    ("1/0 L", "a number"),
    ("5 litters", "did you mean"),
    ("+-3 L", "a number with"),
]


@pytest.mark.parametrize(("text", "expected"), REFUSED, ids=[row[0] or "nothing" for row in REFUSED])
def test_what_could_be_read_two_ways_or_not_at_all_is_refused_with_what_was_expected(text: str, expected: str) -> None:
    with pytest.raises(InputError) as error:
        parse_amount(text, field="tub.litres")
    [problem] = error.value.problems
    assert problem.field == "tub.litres"
    assert expected in problem.expected


def test_an_ounce_of_a_liquid_is_refused_and_an_ounce_of_a_powder_is_not() -> None:
    with pytest.raises(InputError, match="US fl oz"):
        parse_amount("8 oz", liquid=True)
    assert parse_amount("8 oz").to("g") == pytest.approx(226.796185)


def test_another_dimension_than_asked_for_is_refused() -> None:
    with pytest.raises(InputError, match="a volume"):
        parse_amount("3 kg", dimension=Dimension.VOLUME)
    assert parse_amount("30 °f", dimension=Dimension.HARDNESS).to("mg/L") == pytest.approx(300.0)


# Definitions: yard and pound agreement of 1959, imperial gallon of 1976; degrees of hardness from 10 mg/L of CaO
# (German), 10 mg/L of CaCO3 (French), one grain of CaCO3 in an imperial (Clark) or a US gallon.
CONVERTED = [
    ("1 US gal", "L", 3.785411784),
    ("1 imp gal", "L", 4.54609),
    ("128 US fl oz", "US gal", 1.0),
    ("160 imp fl oz", "imp gal", 1.0),
    ("16 oz", "lb", 1.0),
    ("1 lb", "g", 453.59237),
    ("1 m3", "L", 1000.0),
    ("104 °F", "°C", 40.0),
    ("-40 °F", "°C", -40.0),
    ("38 °C", "°F", 100.4),
    ("1 °dH", "mg/L", 10.0 * 100.087 / 56.077),
    ("1 °fH", "mg/L", 10.0),
    ("1 °e", "mg/L", 64.79891 / 4.54609),
    ("1 gpg", "mg/L", 64.79891 / 3.785411784),
    ("80 ppm", "mg/L", 80.0),
    ("1 d", "h", 24.0),
    ("25 %", "%", 25.0),
]


@pytest.mark.parametrize(("text", "unit", "value"), CONVERTED, ids=[f"{row[0]} in {row[1]}" for row in CONVERTED])
def test_units_convert_by_their_definitions(text: str, unit: str, value: float) -> None:
    assert parse_amount(text).to(unit) == pytest.approx(value, rel=1e-5)


def test_a_mass_is_no_volume() -> None:
    with pytest.raises(InputError, match="a volume"):
        parse_amount("1 kg").to("L")


@given(st.sampled_from(sorted(UNITS)), st.sampled_from(sorted(UNITS)), st.floats(0.0, 1e6))
def test_there_and_back_is_the_same_amount(first: str, second: str, value: float) -> None:
    if UNITS[first].dimension is UNITS[second].dimension:
        there = Amount(value, UNITS[first]).in_unit(second)
        assert there.to(first) == pytest.approx(value, rel=1e-12, abs=1e-9)


@given(st.sampled_from(sorted(UNITS)), st.integers(0, 999), st.integers(0, 99))
def test_what_is_printed_is_read_back(key: str, whole: int, hundredths: int) -> None:
    amount = Amount(whole + hundredths / 100.0, UNITS[key])
    assert parse_amount(f"{amount.value:.2f} {key}") == amount


@given(st.text(max_size=12))
def test_no_text_gives_anything_but_a_finite_number_or_a_refusal(text: str) -> None:
    try:
        value = parse_number(text)
    except InputError:
        return
    assert math.isfinite(value)


def test_every_name_of_a_unit_finds_that_unit() -> None:
    for unit in UNITS.values():
        for name in (unit.key, *unit.aliases):
            assert find_unit(name) is unit


def test_a_dimension_of_one_unit_asks_for_that_unit() -> None:
    with pytest.raises(InputError) as refused:
        parse_amount("43", "strength", Dimension.FRACTION)
    assert refused.value.problems[0].expected == "a number with the unit %"
