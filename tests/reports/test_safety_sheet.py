"""The safety sheet: the table is that of the facts, the shelf is checked, every rule has its text, the page prints."""

from __future__ import annotations

from datetime import date
from itertools import combinations

import pytest

from reports.sheets import FONTS, letters, texts_of
from tubwater.facts import incompatible, substances
from tubwater.facts.safety import families, safety_rules
from tubwater.reports.language import Language, speaking
from tubwater.reports.printed import Paper, safety_pdf, sheet_pictures
from tubwater.reports.safety_words import render_safety, safety_words
from tubwater.reports.text import kinds
from tubwater.services.safety import never_mix, safety_sheet
from tubwater.tub import Product, Shelf

DAY = date(2026, 11, 25)
SHELF = Shelf(
    (
        Product("tablets", "bcdmh", 0.96),
        Product("dry acid", "sodium-bisulfate", 0.93),
        Product("bicarbonate", "sodium-bicarbonate", 0.99),
        Product("cal hypo", "calcium-hypochlorite", 0.68),
        Product("dichlor", "dichlor", 0.98),
    )
)
WORDS = safety_words(safety_sheet(SHELF), DAY)


def test_the_table_says_what_the_facts_say_of_every_two_substances() -> None:
    sheet = safety_sheet()
    for a, b in combinations(substances().values(), 2):
        found = incompatible(a.key, b.key)
        assert sheet.effect(a.family, b.family) == (found.effect if found else ""), (a.key, b.key)


def test_the_table_reads_the_same_across_and_down() -> None:
    rows = WORDS["table"]["rows"]
    assert all(rows[i][j] == rows[j][i] for i, j in combinations(range(len(rows)), 2))
    assert all(rows[i][i] == "" for i in range(len(rows)))


# General chemical knowledge, each in the incompatibility lists of labels.
@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("hydantoin", "isocyanurate"),
        ("hydantoin", "acid"),
        ("isocyanurate", "calcium hypochlorite"),
        ("hypochlorite", "acid"),
        ("persulfate", "bromide"),
        ("acid", "base"),
    ],
)
def test_the_known_killers_are_in_the_table(first: str, second: str) -> None:
    assert safety_sheet().effect(first, second) not in ("", "avoid")


def test_the_gravest_pair_of_a_shelf_comes_first() -> None:
    found = never_mix(SHELF)
    assert found[0].effect == "explosion" and {found[0].first, found[0].second} == {"cal hypo", "dichlor"}
    assert found[-1].effect == "avoid"


def test_a_blend_counts_with_each_of_its_parts() -> None:
    blend = Product("blend", "sodium-bicarbonate", None, declared_parts={"dichlor": 0.5, "sodium-bicarbonate": 0.5})
    found = never_mix(Shelf((blend, Product("acid", "sodium-bisulfate", 0.93))))
    assert [pair.effect for pair in found] == ["chlorine gas"]


def test_an_empty_shelf_has_no_pairs_and_no_part_on_the_sheet() -> None:
    assert safety_words(safety_sheet(), DAY)["shelf"]["lines"] == []


def test_a_harmless_shelf_is_told_so() -> None:
    shelf = Shelf((Product("borax", "borax-decahydrate", 0.99), Product("calcium", "calcium-chloride", 0.95)))
    assert never_mix(shelf) == () and len(safety_words(safety_sheet(shelf), DAY)["shelf"]["lines"]) == 1


def test_every_rule_topic_family_and_effect_has_its_text() -> None:
    assert {rule.key for rules in safety_rules().values() for rule in rules} <= set(kinds("safety-rule"))
    assert set(safety_rules()) <= set(kinds("topic")) and set(families()) <= set(kinds("family"))
    effects = {effect for _, _, effect in safety_sheet().effects}
    assert effects <= set(kinds("effect")) and effects <= set(kinds("effect-short"))


def test_what_is_from_memory_is_marked() -> None:
    lines = {topic["head"]: topic["lines"] for topic in WORDS["topics"]}
    marked = {rule.key for rules in safety_rules().values() for rule in rules if not rule.basis.verified}
    assert marked and sum(line.endswith("*") for found in lines.values() for line in found) == len(marked)


@pytest.mark.parametrize("paper", list(Paper))
def test_the_sheet_is_one_tagged_page_and_always_the_same_bytes(paper: Paper) -> None:
    made = safety_pdf(WORDS, paper)
    assert made.startswith(b"%PDF-") and b"pdfuaid:part" in made
    assert made == safety_pdf(WORDS, paper)
    assert len(sheet_pictures("safety", WORDS, paper)) == 1


@pytest.mark.parametrize("paper", list(Paper))
def test_the_sheet_is_one_page_in_german_too(paper: Paper) -> None:
    with speaking(Language.GERMAN):
        words = safety_words(safety_sheet(SHELF), DAY)
        assert max(map(len, render_safety(words).splitlines())) <= 80
    assert words["lang"] == "de" and not any(f" {word} " in " ".join(texts_of(words)) for word in ("the", "and"))
    assert len(sheet_pictures("safety", words, paper)) == 1
    for font in FONTS:
        assert set("".join(texts_of(words))) <= letters(font), font.name


def test_the_fonts_hold_every_sign_of_the_sheet() -> None:
    used = set("".join(texts_of(WORDS))) | set("•–·0123456789")
    for font in FONTS:
        assert used <= letters(font), font.name


def test_the_sheet_fits_into_80_columns() -> None:
    assert max(map(len, render_safety(WORDS).splitlines())) <= 80
