"""What a keeper writes of size, price and dates, and what cannot be meant."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from tubwater.errors import InputError
from tubwater.services.tubfile import TubFile, parse_tub_file
from tubwater.tub import Dosed, Package, Product, Reagents
from tubwater.tub.data import as_data, from_data

NOW = datetime(2026, 11, 26, 9, tzinfo=UTC)
TUB = '[tub]\nvolume = "1300 L"\nsanitizer = "bromine"\n'
ACID = '[[product]]\nsubstance = "dry acid"\nstrength = "93 %"\n'


def read(text: str) -> TubFile:
    return parse_tub_file(TUB + text, NOW)


def test_a_package_is_read_and_survives_as_plain_data() -> None:
    said = 'size = "2 kg"\nprice = "8.90 EUR"\nopened = 2026-03-01\nexpires = 2027-01-01\ncounted = 2026-11-01\n'
    (product,) = read(ACID + said).shelf.products
    counted = datetime(2026, 11, 1, tzinfo=UTC)
    assert product.package == Package(2000.0, 8.9, "EUR", date(2026, 3, 1), date(2027, 1, 1), counted)
    assert from_data(Product, as_data(product)) == product


@pytest.mark.parametrize(
    ("text", "amount", "currency"),
    [("8.90 EUR", 8.9, "EUR"), ("€ 8,90", 8.9, "€"), ("12 $", 12.0, "$"), ("CHF 1 200", 1200.0, "CHF")],
)
def test_a_currency_may_stand_before_or_behind(text: str, amount: float, currency: str) -> None:
    package = read(f'{ACID}size = "2 kg"\nprice = "{text}"\n').shelf.products[0].package
    assert (package.price, package.currency) == (amount, currency)


LIQUID = '[[product]]\nsubstance = "muriatic acid"\nstrength = "31 %"\n'
# The pound and the US fluid ounce by definition (international yard and pound); the acid has 1.16 kg/L.
LIQUIDS = [("5 L", 5800.0), ("250 mL", 290.0), ("8 US fl oz", 274.44), ("2 lb", 907.185), ("1.5 kg", 1500.0)]


@pytest.mark.parametrize(("text", "grams"), LIQUIDS)
def test_a_liquid_is_bought_counted_and_dosed_by_volume_or_mass(text: str, grams: float) -> None:
    dose = f'[[dosed]]\nproduct = "muriatic acid"\namount = "{text}"\n'
    file = read(f'{LIQUID}size = "{text}"\nstock = "{text}"\n{dose}')
    (acid,), (dosed,) = file.shelf.products, file.events
    assert isinstance(dosed, Dosed)
    assert [acid.package.grams, acid.stock_grams, dosed.grams] == pytest.approx([grams] * 3, rel=1e-4)


@pytest.mark.parametrize("text", ["8 oz", "1 gal", "200 L", "5 h"])
def test_an_amount_of_a_liquid_that_reads_two_ways_or_is_none_is_refused(text: str) -> None:
    with pytest.raises(InputError) as refused:
        read(f'{LIQUID}size = "{text}"\n[[dosed]]\nproduct = "muriatic acid"\namount = "{text}"\n')
    assert [problem.field for problem in refused.value.problems] == ["product[1].size", "dosed[1].amount"]


def test_reagents_and_offers_are_read() -> None:
    offer = '[[offer]]\nsubstance = "soda ash"\nstrength = "99 %"\nprice = "3 EUR"\nsize = "1 kg"\n'
    file = read('[[reagents]]\nmethod = "strip"\nexpires = 2026-01-01\n' + offer)
    assert file.reagents == (Reagents("strip", expires=date(2026, 1, 1)),)
    assert [p.name for p in file.offers.products] == ["soda ash"] and file.shelf.products == ()


@pytest.mark.parametrize(
    ("said", "field", "expected"),
    [
        ('size = "2 kg"\nprice = "8.90"', "price", "currency"),
        ('size = "2 kg"\nprice = 8.9', "price", "currency"),
        ('size = "2 kg"\nprice = "EUR"', "price", "currency"),
        ('size = "2 kg"\nprice = "8.90 EUR 3"', "price", "currency"),
        ('size = "2 kg"\nprice = "-3 EUR"', "price", "0 to"),
        ('size = "2 kg"\nprice = "1,300 EUR"', "price", "1300 (without a mark) or 1.3"),
        ('price = "3 EUR"', "size", "how much the price is for"),
        ('size = "-2 kg"', "size", "zero or more"),
        ('size = "0 g"', "size", "1 to 100000 g"),
        ("opened = 2026-03-01\nexpires = 2026-02-01", "expires", "not before the one of opening (2026-03-01)"),
        ("opened = 2027-03-01", "opened", "not after today"),
        ('expires = "soon"', "expires", "a day, such as"),
        ("counted = 2027-01-01", "counted", "not after today"),
    ],
)
def test_what_cannot_be_meant_is_told_with_its_field(said: str, field: str, expected: str) -> None:
    with pytest.raises(InputError) as refused:
        read(f"{ACID}{said}\n")
    (problem,) = refused.value.problems
    assert problem.field == f"product[1].{field}" and expected in problem.expected


def test_reagents_of_an_unknown_method_are_refused() -> None:
    with pytest.raises(InputError, match=r"reagents\[1\].method"):
        read('[[reagents]]\nmethod = "tea leaves"\n')
