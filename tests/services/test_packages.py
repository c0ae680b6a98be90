"""What a keeper writes of size, price and dates, and what cannot be meant."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from tubwater.errors import InputError
from tubwater.services.tubfile import TubFile, parse_tub_file
from tubwater.tub import Package, Product, Reagents
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


def test_a_liquid_may_be_sold_by_volume() -> None:
    (acid,) = read('[[product]]\nsubstance = "muriatic acid"\nstrength = "31 %"\nsize = "5 L"\n').shelf.products
    assert acid.package.grams == pytest.approx(5800.0)  # 1.16 kg/L


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
