"""A keeper's file: what is understood, what is refused, and that every problem is told at once."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tubwater import tub as values
from tubwater.errors import InputError
from tubwater.services.contact import Contact
from tubwater.services.tubfile import UnitSystem, example_text, parse_tub_file, read_tub_file
from tubwater.tub import Quantity, Sanitizer

NOW = datetime(2026, 11, 20, 9, 0, tzinfo=UTC)
TUB = '[tub]\nvolume = "1300 L"\nsanitizer = "bromine"\n'
STRIP = '[[test]]\nmethod = "strip"\n'
ACID = '[[product]]\nsubstance = "dry acid"\n'


def problems(text: str) -> dict[str, str]:
    with pytest.raises(InputError) as caught:
        parse_tub_file(text, NOW)
    return {problem.field: str(problem) for problem in caught.value.problems}


def test_the_example_is_understood_without_a_question() -> None:
    file = parse_tub_file(example_text(), NOW)
    assert (file.tub.litres, file.tub.sanitizer, file.units) == (1300.0, Sanitizer.BROMINE, UnitSystem.METRIC)
    assert file.questions == ()
    assert file.tub.fill.values[Quantity.CALCIUM_HARDNESS] == pytest.approx(8 * 17.848, rel=1e-3)
    assert file.visit.minutes == 90.0


def test_the_example_to_copy_is_the_one_in_the_package(checkout: Path) -> None:
    assert (checkout / "examples" / "tub.toml").read_text(encoding="utf-8") == example_text()


@pytest.mark.parametrize(
    ("written", "low", "high"), [("3", 3, 3), ("[1, 2]", 1, 2), ('"<1"', -math.inf, 1), ('">10"', 10, math.inf)]
)
def test_a_reading_may_be_a_step_between_two_or_beyond_the_ends(written: str, low: float, high: float) -> None:
    (event,) = parse_tub_file(f"{TUB}{STRIP}bromine = {written}\n", NOW).events
    assert isinstance(event, values.Tested)
    assert (event.readings[0].low, event.readings[0].high, event.at) == (low, high, NOW)


def test_whom_the_sheets_say_to_ask_stands_in_the_file_and_an_option_goes_before_it() -> None:
    said = parse_tub_file(f'{TUB}[contact]\nname = "Robin"\nphone = "01632 960 123"\n', NOW).contact
    assert said == Contact("Robin", "01632 960 123") and Contact("Kim").over(said) == Contact("Kim", "01632 960 123")
    assert parse_tub_file(TUB, NOW).contact == Contact()
    assert "contact.mail" in problems(f'{TUB}[contact]\nmail = "x"\n')


BAD = {
    "an unknown key": (TUB + 'colour = "red"\n', "tub.colour", "unknown"),
    "a misspelt product": (
        TUB + "[[product]]\nsubstance = 'sodium bicarbonat'",
        "product[1].substance",
        "sodium bicarbonate",
    ),
    "a missing unit": ('[tub]\nvolume = 1300\nsanitizer = "bromine"\n', "tub.volume", "unit"),
    "40,000 litres": ('[tub]\nvolume = "40000 L"\nsanitizer = "bromine"\n', "tub.volume", "30000"),
    "5 litres": ('[tub]\nvolume = "5 L"\nsanitizer = "bromine"\n', "tub.volume", "100"),
    "a volume that reads two ways": ('[tub]\nvolume = "1,300 L"\nsanitizer = "bromine"\n', "tub.volume", "both"),
    "gallons of no country": ('[tub]\nvolume = "300 gal"\nsanitizer = "bromine"\n', "tub.volume", "US gal"),
    "a negative volume": ('[tub]\nvolume = "-5 L"\nsanitizer = "bromine"\n', "tub.volume", "zero or more"),
    "no sanitizer": ('[tub]\nvolume = "1300 L"\n', "tub.sanitizer", "bromine or chlorine"),
    "pH 14": (TUB + '[[test]]\nmethod = "electrode"\npH = 14\n', "test[1].pH", "4 to 10"),
    "a negative reading": (TUB + STRIP + "bromine = -3\n", "test[1].bromine", "0 to 10"),
    "a reading in words": (TUB + STRIP + 'pH = "fine"\n', "test[1].pH", "number"),
    "not a number": (TUB + STRIP + "pH = nan\n", "test[1].pH", "number"),
    "infinity": (TUB + STRIP + "bromine = inf\n", "test[1].bromine", "number"),
    "no method": (TUB + "[[test]]\npH = 7.4\n", "test[1].method", "strip"),
    "strength 0": (TUB + '[[product]]\nsubstance = "dry acid"\nstrength = "0 %"\n', "product[1].strength", "0.1"),
    "strength unknown": (TUB + ACID + 'strength = "unknown"', "product[1].strength", "label"),
    "a test of long ago": (TUB + STRIP + "pH = 7.4\nat = 0206-11-21T09:00:00Z\n", "test[1].at", "after the year 1999"),
    "a test to come": (TUB + STRIP + "pH = 7.4\nat = 2026-11-21T09:00:00Z\n", "test[1].at", "before now"),
    "an empty file": ("", "file", "empty"),
    "a file that is not TOML": ("[[[", "file", "not TOML"),
}


@pytest.mark.parametrize(("text", "field", "word"), BAD.values(), ids=BAD)
def test_what_cannot_be_meant_is_refused_with_its_field(text: str, field: str, word: str) -> None:
    found = problems(text)
    assert set(found) == {field}
    assert word in found[field]


def test_all_problems_are_told_together() -> None:
    found = problems('[tub]\nvolume = "40000 L"\nsanitizer = "bromin"\n' + STRIP + "pH = 14\nbromine = -1\n")
    assert set(found) == {"tub.volume", "tub.sanitizer", "test[1].pH", "test[1].bromine"}


@pytest.mark.parametrize("volume", ["250 L", "12000 L"])
def test_an_unlikely_volume_is_kept_and_asked_about(volume: str) -> None:
    file = parse_tub_file(f'[tub]\nvolume = "{volume}"\nsanitizer = "bromine"\n', NOW)
    assert [question.field for question in file.questions] == ["tub.volume"]


def test_a_file_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="file"):
        read_tub_file(tmp_path / "none.toml", NOW)


@pytest.mark.parametrize("name", ["drop-titration", "drop titration", "Drop Titration"])
def test_a_method_is_taken_by_its_key_and_by_the_name_it_is_listed_under(name: str) -> None:
    (event,) = parse_tub_file(f'{TUB}[[test]]\nmethod = "{name}"\ntotal_alkalinity = 90\n', NOW).events
    assert isinstance(event, values.Tested) and event.readings[0].method == "drop-titration"


def test_a_sign_stands_until_a_look_says_that_it_is_settled() -> None:
    seen = '[[noticed]]\nat = 2026-11-19T20:00:00Z\nsigns = ["vomit"]\n'
    silent = '[[noticed]]\nat = 2026-11-20T08:00:00Z\nclarity = "clear"\n'
    settled = "[[noticed]]\nat = 2026-11-20T08:30:00Z\nsigns = []\n"
    signs = [event.signs for event in parse_tub_file(TUB + silent + settled + seen, NOW).events]
    assert signs == [{values.Sign.VOMIT}, {values.Sign.VOMIT}, frozenset()]


def test_what_is_left_of_the_tablets_is_read_by_eye_whatever_the_water_was_tested_with() -> None:
    (found,) = parse_tub_file(TUB + STRIP + 'bromine = 3\ntablets_left = "50 to 75"\n', NOW).events
    assert isinstance(found, values.Tested)
    left = next(r for r in found.readings if r.quantity is Quantity.TABLETS_LEFT)
    assert (left.low, left.high, left.unit, left.method) == (50.0, 75.0, "%", "feeder-by-eye")
    said = problems(TUB + STRIP + "tablets_left = 150\n")["test[1].tablets_left"]
    assert "0 to 100" in said
