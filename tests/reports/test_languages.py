"""Every text stands in every language, with the same gaps; numbers and days are written as a language writes them."""

from __future__ import annotations

import re
import string
import threading
import tomllib
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

import tubwater
from tubwater.reports import units as show
from tubwater.reports.language import Language, choose, language, preferred, speaking, texts
from tubwater.reports.plain import amount_text
from tubwater.reports.text import named, text_of
from tubwater.tub import Amount, Quantity

CATALOGUE = Path(tubwater.__file__).parent / "reports" / "catalogue"
ENGLISH = sorted(path for path in CATALOGUE.glob("*.toml") if f".{path.name}".endswith(".en.toml"))
GERMAN = [path.with_name(path.name.replace("en.toml", "de.toml")) for path in ENGLISH]
# Words that are the same in both languages: (section, kind).
SAME_SECTIONS = frozenset({"germ", "language"})
SAME = frozenset(
    {
        ("date", "month-year"),
        ("handout", "time"),
        ("month-long", "apr"),
        ("month-long", "aug"),
        ("month-long", "nov"),
        ("month-long", "sep"),
        ("web", "brand"),
        ("web", "login.name"),
        ("web", "settings.name"),
        ("web", "test.start"),
    }
)
BENT = {"hours-later": "hours", "days-later": "days"}  # words of one language's grammar


def sections(path: Path) -> dict[str, dict[str, str]]:
    return tomllib.loads(path.read_text(encoding="utf-8"))


def gaps(text: str) -> list[tuple[str, str]]:
    """The gaps of a text with how they are filled; where a sentence has its capitals is a language's own affair."""
    found = [
        (name, spec or "") for _, name, spec, _ in string.Formatter().parse(re.sub(r"\[\[|\]\]", "", text)) if name
    ]
    return sorted((name, "" if spec in ("lower", "02d") else BENT.get(spec, spec)) for name, spec in found)


def optional(text: str) -> list[list[tuple[str, str]]]:
    return sorted(gaps(part) for part in re.findall(r"\[\[(.*?)\]\]", text))


def test_the_catalogue_is_there() -> None:
    assert len(ENGLISH) >= 15 and all(path.exists() for path in GERMAN)
    assert set(CATALOGUE.glob("*.toml")) == {*ENGLISH, *GERMAN}


@pytest.mark.parametrize("path", ENGLISH, ids=lambda path: path.name)
def test_every_text_is_there_in_german_with_the_same_gaps(path: Path) -> None:
    english, german = sections(path), sections(path.with_name(path.name.replace("en.toml", "de.toml")))
    assert {(s, k) for s in english for k in english[s]} == {(s, k) for s in german for k in german[s]}
    wrong = [
        (section, kind)
        for section, said in english.items()
        for kind, text in said.items()
        if gaps(text) != gaps(german[section][kind]) or optional(text) != optional(german[section][kind])
    ]
    assert wrong == []


@pytest.mark.parametrize("path", ENGLISH, ids=lambda path: path.name)
def test_no_german_text_is_the_english_one(path: Path) -> None:
    english, german = sections(path), sections(path.with_name(path.name.replace("en.toml", "de.toml")))
    same = {
        (section, kind)
        for section, said in english.items()
        for kind, text in said.items()
        if text == german[section][kind] and re.search("[a-z]{3}", re.sub(r"\{.*?\}", "", text))
    }
    assert {one for one in same if one[0] not in SAME_SECTIONS} - SAME == set()


def test_what_is_called_the_same_is_the_same() -> None:
    english, german = texts(Language.ENGLISH), texts(Language.GERMAN)
    assert [one for one in SAME if english[one[0]][one[1]] != german[one[0]][one[1]]] == []


@pytest.mark.parametrize(
    ("accepted", "expected"),
    [
        ("", "en"),
        ("de", "de"),
        ("de-AT,de;q=0.9,en;q=0.8", "de"),
        ("en-GB,en;q=0.9,de;q=0.8", "en"),
        ("fr,de;q=0.5,en;q=0.4", "de"),
        ("fr", "en"),
        ("DE-ch", "de"),
        ("de;q=0, en;q=0.1", "en"),
        ("en;q=0.2, de;q=0.7", "de"),
        ("de;q=much, *;q=0.1", "en"),
        (",;,=;q", "en"),
    ],
)
def test_the_best_language_of_a_header_is_taken(accepted: str, expected: str) -> None:
    assert preferred(accepted) == expected


def test_numbers_spans_and_days_are_written_as_the_language_writes_them() -> None:
    at = datetime(2026, 3, 5, 9, 7, tzinfo=UTC)
    with speaking(Language.GERMAN):
        assert (show.number(7.25), show.number(1300.0), show.fixed(7.0, 1)) == ("7,25", "1300", "7,0")
        assert (show.grams(2.5), show.temperature(38.5), show.percent(0.997)) == ("2,5 g", "38,5 °C", "über 99 %")
        assert (show.minutes(1.0), show.minutes(20.0), show.hours(96.0)) == ("1 Minute", "20 Minuten", "4 Tage")
        assert show.hours(96.0, "days-later") == "4 Tagen"
        assert (show.days(1.0), show.days(2.0), show.days(7.0, "days-later")) == ("24 Stunden", "2 Tage", "7 Tagen")
        assert show.moment(at) == "Do 5. März, 09:07" and show.day(date(2026, 12, 1)) == "1. Dez. 2026"
    assert (show.number(7.25), show.moment(at)) == ("7.25", "Thu 5 Mar, 09:07")


def test_a_sentence_that_ends_with_an_abbreviation_has_one_full_stop() -> None:
    with speaking(Language.GERMAN):
        assert text_of("handout", "week-dates", {"list": "Filter bis 26. Dez."}).endswith("Dez.")
        assert ".." not in text_of("handout", "week-dates", {"list": "Filter bis 26. Dez."})


def test_a_product_has_the_name_of_its_substance_in_the_language_and_a_name_of_the_keepers_own_as_it_is() -> None:
    with speaking(Language.GERMAN):
        assert (named("sodium bromide"), named("soda ash"), named("Soda ash")) == (
            "Natriumbromid",
            "Soda",
            "Soda",
        )
        assert named("Pot by the door") == "Pot by the door"
        said = amount_text(Amount("soda ash", "sodium-carbonate", 45.0, 1.5, "scoop"))
        assert said == "45 g Soda (1½ gestrichene Messlöffel)"
    assert [named(name) for name in ("sodium bromide", "soda ash", "Soda ash")] == [
        "sodium bromide",
        "soda ash",
        "Soda ash",
    ]


@pytest.mark.parametrize("quantity", list(Quantity))
def test_every_quantity_has_a_german_name(quantity: Quantity) -> None:
    with speaking(Language.GERMAN):
        assert text_of("quantity", quantity)


def test_what_one_thread_speaks_no_other_does() -> None:
    heard = []

    def speak() -> None:
        choose(Language.GERMAN)
        heard.append(text_of("verdict", "keep out"))

    thread = threading.Thread(target=speak)
    thread.start()
    thread.join()
    assert language() is Language.ENGLISH and text_of("verdict", "keep out") == "Keep out."
    assert heard != ["Keep out."]
