"""The handout: its doses hold in the chemistry, its limits are the guideline's, and it prints on one page."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache
from itertools import pairwise

import numpy as np
import pytest

from reports.sheets import FONTS, drawn, letters, texts_of
from tubwater import tub as tub_values
from tubwater.advice import Situation, Wishes, make_plan
from tubwater.advice.dose_table import Does, DoseRow, _Table, dose_table
from tubwater.advice.measures import smallest
from tubwater.advice.safety import cap_grams
from tubwater.facts import defaults
from tubwater.reports.handout_words import handout_words, measured
from tubwater.reports.language import Language, speaking
from tubwater.reports.printed import Paper, handout_pdf, label_pdf, qr_svg, sheet_pictures
from tubwater.services.advise import case_of
from tubwater.services.contact import Contact
from tubwater.services.handout import Handout, handout_of
from tubwater.services.tubfile import UnitSystem, example_text, parse_tub_file
from tubwater.tub import (
    Amount,
    Clarity,
    FeederSet,
    Noticed,
    OxidantScale,
    Quantity,
    Reading,
    Sanitizer,
    Shelf,
    StepKind,
    TubKind,
    VolumeBasis,
    equipment_of,
)

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
FILE = parse_tub_file(example_text(), NOW)
CONTACT = Contact("Keeper of the valley round", "01632 960 123", "https://tub.example/t/7")


@cache
def case(litres: float = 1300.0, sanitizer: Sanitizer = Sanitizer.BROMINE, tests: bool = True) -> Situation:
    """The example's tub with a good test, metered so that doses can be checked by hand."""
    tub = replace(FILE.tub, litres=litres, volume_basis=VolumeBasis.METERED, sanitizer=sanitizer)
    oxidant = Quantity.BROMINE if sanitizer is Sanitizer.BROMINE else Quantity.FREE_CHLORINE
    scale = OxidantScale.AS_BR2 if sanitizer is Sanitizer.BROMINE else OxidantScale.AS_CL2
    at = NOW - timedelta(hours=1)
    good = tub_values.Tested(
        at, (Reading(oxidant, 5.0, 5.0, "mg/L", "strip", at, scale), Reading(Quantity.PH, 7.5, 7.5, "pH", "strip", at))
    )
    events = (Noticed(at, clarity=Clarity.CLEAR), good) if tests else ()
    return case_of(tub, FILE.shelf, events, NOW, members=300)


@cache
def handout() -> Handout:
    """The handout of the example."""
    return handout_of(case())


def rows(quantity: Quantity, found: tuple[DoseRow, ...] | None = None) -> list[DoseRow]:
    """The rows of a quantity."""
    return [row for row in (found or dose_table(case())) if row.quantity is quantity]


def at(value: float, quantity: Quantity) -> DoseRow:
    """The row for a reading."""
    return next(row for row in rows(quantity) if row.low <= value <= row.high)


def test_low_alkalinity_gets_what_the_reaction_says_and_no_more() -> None:
    row = at(40.0, Quantity.TOTAL_ALKALINITY)
    assert row.amount is not None and row.amount.substance == "sodium-bicarbonate"
    # 1 g of NaHCO3 is 0.5957 g of alkalinity as CaCO3 (50.0435 / 84.006); 99 % strong
    rise = row.amount.grams * 0.99 * 50.0435 / 84.006 / 1.3
    assert 0.4 * 50.0 <= rise <= 0.75 * 50.0  # towards the middle of 60-120, at most three quarters of the way


def test_low_bromine_gets_monopersulfate_by_mole() -> None:
    row = at(2.0, Quantity.BROMINE)
    assert row.amount is not None and row.amount.substance == "monopersulfate"
    # 1 g of the triple salt frees 0.520 g of Br2 (2 x 159.808 / 614.737); 88 % strong
    rise = row.amount.grams * 0.88 * 0.520 / 1.3
    assert 1.0 <= rise <= 4.5 - 2.0 + 0.1
    assert row.minutes > 60.0 and row.keep_out


def test_high_ph_gets_acid_and_low_ph_gets_base() -> None:
    high, low = at(8.4, Quantity.PH).amount, at(6.8, Quantity.PH).amount
    assert high is not None and high.substance == "sodium-bisulfate"
    assert low is not None and low.substance == "sodium-carbonate"


def test_a_reading_that_is_dangerous_or_too_high_gets_no_dose() -> None:
    assert at(0.0, Quantity.BROMINE).does is Does.ASK and at(0.0, Quantity.BROMINE).keep_out
    assert at(10.0, Quantity.BROMINE).does is Does.CLOSE_FEEDER
    assert at(240.0, Quantity.TOTAL_ALKALINITY).does is Does.ASK
    assert all(row.amount is None for row in dose_table(case()) if row.does is not Does.ADD)


def test_nothing_is_added_at_a_reading_that_is_wanted() -> None:
    for row in dose_table(case()):
        limits = case().limits(row.quantity)
        if limits.aim_low <= row.low and row.high <= limits.aim_high and row.quantity is not Quantity.BROMINE:
            pytest.fail(f"{row} is inside what is wanted")
    assert at(5.0, Quantity.BROMINE).does is Does.LEAVE


def test_every_dose_can_be_measured_and_keeps_its_cap() -> None:
    for litres in (800.0, 1300.0):
        for row in dose_table(case(litres)):
            if row.amount is None:
                continue
            product = next(p for p in FILE.shelf.products if p.name == row.amount.product)
            steps = row.amount.grams / smallest(product)
            assert steps == pytest.approx(round(steps)) and steps >= 1.0
            assert row.amount.grams <= cap_grams(product, litres) * 1.1


def test_more_water_takes_no_less() -> None:
    for small, large in zip(dose_table(case(800.0)), dose_table(case(2400.0)), strict=False):
        if small.amount and large.amount and (small.quantity, small.low) == (large.quantity, large.low):
            assert large.amount.grams >= small.amount.grams


def test_rows_cover_the_readings_of_the_method_once_and_upwards() -> None:
    for quantity in (Quantity.TOTAL_ALKALINITY, Quantity.PH, Quantity.BROMINE):
        found = rows(quantity)
        ends = [end for row in found for end in (row.low, row.high)]
        assert ends == sorted(ends)
        assert all(a.high < b.low for a, b in pairwise(found))


def test_without_a_product_the_table_says_so() -> None:
    bare = replace(case(), shelf=Shelf(()))
    found = rows(Quantity.PH, dose_table(bare))
    assert found and all(row.does is Does.BUY for row in found)


def test_without_an_oxidizer_the_sheet_does_not_say_that_a_soak_needs_nothing() -> None:
    bare = replace(handout(), after_soak=None, soaks=(), oxidizer="", never=(), feeder=None)
    words = handout_words(bare, Contact())
    assert "no oxidizer is on your shelf" in words["soak"]["note"]
    assert not any(text.startswith("Nor any") or "feeder" in text for text in texts_of(words))


def test_the_doses_after_a_soak_are_the_plans_own_and_stop_at_its_cap() -> None:
    made = handout()
    rule = made.after_soak
    assert rule is not None and made.soaks
    assert all(dose.amount.grams <= rule.daily_cap_grams + 1e-9 for dose in made.soaks)
    assert [dose.capped for dose in made.soaks] == sorted(dose.capped for dose in made.soaks)
    one = made.soaks[0]
    assert one.people == 1 and one.amount.grams <= rule.amount.grams + 1e-9


def test_the_sheet_names_the_limits_of_the_guideline() -> None:
    said = " ".join(texts_of(handout_words(handout(), CONTACT)))
    for figure in ("above 3 and below 10", "above 7.0 and below 8.0", "below 2 or above 10", "40 °C", "3 to 5 mg/L"):
        assert figure in said, figure


@pytest.mark.parametrize(("speech", "fit"), [(Language.ENGLISH, "says fit"), (Language.GERMAN, "„Badebereit“")])
def test_the_sheet_names_both_locks_before_people_get_in(speech: Language, fit: str) -> None:
    with speaking(speech):
        lines = handout_words(handout(), CONTACT)["enter"]["lines"]
    assert "pH" in lines[0] and fit in lines[1]


def test_a_limit_from_memory_carries_its_mark_and_no_other_does() -> None:
    tub = replace(FILE.tub, guideline="uk-business")
    marked = case_of(tub, FILE.shelf, case().belief.events, NOW, members=300)
    for made, where in ((handout_of(marked), ("7.0 to 7.6\u00a0*", "below 7.0 or above 8.0\u00a0*")), (handout(), ())):
        words = handout_words(made, CONTACT)
        said = " ".join(texts_of(words))
        assert all(text in said for text in where)
        assert bool(words["unverified"]) is bool(where) and words["foot"].startswith(words["unverified"])
        assert ("*" in said) is bool(where)
        assert "bromine above 4 and below 6, pH" in said or not where  # a number that was read at its source


def test_a_tub_without_a_pump_is_told_of_no_pump_and_waits_as_long_as_its_plan() -> None:
    tub = replace(case().tub, kind=TubKind.WOOD_FIRED, equipment=equipment_of(TubKind.WOOD_FIRED))
    still = handout_of(replace(case(), tub=tub))
    words = handout_words(still)
    own = [words[part] for part in ("enter", "week", "doses", "soak", "stop")]
    assert not any(word in " ".join(texts_of(own)).lower() for word in ("pump", "jets", "suction"))
    factor = defaults()["mixing_factor_still"].value
    assert still.mix_minutes == factor * handout().mix_minutes
    waits = {row.minutes for row in still.doses if row.quantity is Quantity.PH}
    assert waits == {factor * row.minutes for row in handout().doses if row.quantity is Quantity.PH}


def test_no_dose_after_a_soak_is_for_more_people_than_may_be_in() -> None:
    for litres in (800.0, 1300.0):
        made = handout_of(case(litres))
        assert made.soaks and max(dose.people for dose in made.soaks) <= made.most_people


def test_a_feeder_that_was_just_set_so_is_left_alone_and_stays_on_the_sheet() -> None:
    first = handout().feeder
    assert first is not None and first.tablets > 0.0
    just = FeederSet(NOW, first.product, first.tablets, first.opening)
    known = case_of(case().tub, FILE.shelf, (*case().belief.events, just), NOW, members=300)
    assert StepKind.SET_FEEDER not in {step.kind for step in make_plan(known, Wishes(), 0).steps}
    assert handout_of(known).feeder == first
    later = case_of(case().tub, FILE.shelf, known.belief.events, NOW + timedelta(hours=13), members=300)
    assert StepKind.SET_FEEDER in {step.kind for step in make_plan(later, Wishes(), 0).steps}


LONG = "Donaudampfschifffahrtsgesellschaftskapitänsbadezuber"


@pytest.mark.parametrize("paper", list(Paper))
def test_long_names_stay_on_the_paper_and_an_overfull_sheet_takes_two_pages(paper: Paper) -> None:
    """Nothing is drawn in the right margin."""
    words = handout_words(handout(), Contact(LONG, "01632 960 123", "https://tub.example/t/7"))
    full = {**words, "name": LONG, "week": {**words["week"], "steps": words["week"]["steps"] * 2}}
    for name, most in (("handout", 2), ("label", 1)):
        pages = list(drawn(name, full, paper))
        assert len(pages) == most
        assert all(page[:, -round(0.04 * page.shape[1]) :].min() == 255 for page in pages)  # half of the margin


def test_a_measure_is_not_cut_inside_a_word() -> None:
    look = (FONTS[0].parents[1] / "typst" / "look.typ").read_text(encoding="utf-8")
    kept = re.search(r'show regex\("(.*)"\): box', look)
    assert kept
    pattern = re.compile(kept[1].replace("\\\\", "\\"))
    assert pattern.search("2½ g zugeben") and not pattern.search("2½ gestrichene Messlöffel")


def test_the_sheet_shows_every_dose_of_its_table() -> None:
    said = " ".join(texts_of(handout_words(handout(), CONTACT)["doses"]))
    for row in handout().doses:
        assert row.amount is None or measured(row.amount) in said


@pytest.mark.parametrize("units", list(UnitSystem))
def test_amounts_stand_in_the_keepers_measure_and_units(units: UnitSystem) -> None:
    said = measured(Amount("x", "sodium-bicarbonate", 60.0, 1.5, "scoop"), units)
    assert "1½" in said and ("60 g" in said) is (units is UnitSystem.METRIC)


@pytest.mark.parametrize("sanitizer", list(Sanitizer))
@pytest.mark.parametrize("tests", [True, False], ids=["tested", "untested"])
def test_a_sheet_can_be_made_for_any_tub(sanitizer: Sanitizer, tests: bool) -> None:
    found = case(1300.0, sanitizer, tests)
    tub = replace(found.tub, kind=TubKind.WOOD_FIRED, equipment=equipment_of(TubKind.WOOD_FIRED))
    for shelf in (found.shelf, Shelf(())):
        made = handout_of(replace(found, tub=tub, shelf=shelf))
        words = handout_words(made)
        assert words["stop"]["lines"] and words["week"]["steps"] and words["ask"]["qr"] == ""
        assert len(sheet_pictures("handout", words)) <= 2


@pytest.mark.parametrize("units", list(UnitSystem))
@pytest.mark.parametrize("paper", list(Paper))
def test_the_sheet_is_one_tagged_page_and_always_the_same_bytes(paper: Paper, units: UnitSystem) -> None:
    words = handout_words(handout(), CONTACT, units)
    made = handout_pdf(words, paper)
    assert made.startswith(b"%PDF-") and b"pdfuaid:part" in made
    assert made == handout_pdf(words, paper)
    assert len(sheet_pictures("handout", words, paper)) == 1


@pytest.mark.parametrize("units", list(UnitSystem))
@pytest.mark.parametrize("paper", list(Paper))
def test_the_sheet_is_one_page_in_german_too(paper: Paper, units: UnitSystem) -> None:
    with speaking(Language.GERMAN):
        words = handout_words(handout(), CONTACT, units)
    names = (handout().tub.name, CONTACT.name)  # the keeper's own, so as they are
    said = " ".join(text for text in texts_of(words) if not any(name in text for name in names))
    assert words["lang"] == "de" and "25. November 2026" in said and "Etikett" in said
    ours = said.replace(CONTACT.name, "").replace(FILE.tub.name, "")
    assert not any(f" {word} " in ours for word in ("the", "and", "water", "level", "minutes"))
    made = handout_pdf(words, paper)
    assert b"pdfuaid:part" in made and len(sheet_pictures("handout", words, paper)) == 1
    for font in FONTS:
        assert set(said) <= letters(font), font.name


@pytest.mark.parametrize("speech", list(Language))
@pytest.mark.parametrize("paper", list(Paper))
def test_the_label_is_one_tagged_page_with_or_without_doses_and_a_code(paper: Paper, speech: Language) -> None:
    bare = replace(case(1300.0, Sanitizer.CHLORINE, False), shelf=Shelf(()))
    with speaking(speech):
        both = [handout_words(handout(), CONTACT), handout_words(handout_of(bare))]
    for words in both:
        made = label_pdf(words, paper)
        assert b"pdfuaid:part" in made and made == label_pdf(words, paper)
        assert len(sheet_pictures("label", words, paper)) == 1
    assert label_pdf(both[0], paper) != handout_pdf(both[0], paper)


def test_the_fonts_hold_every_sign_of_the_sheet() -> None:
    used = set("•0123456789½¼¾")
    for units in UnitSystem:
        used |= set("".join(texts_of(handout_words(handout(), CONTACT, units))))
    for font in FONTS:
        assert used <= letters(font), font.name


def test_each_font_comes_with_its_licence() -> None:
    licences = [path.read_text(encoding="utf-8") for path in FONTS[0].parent.glob("OFL-*.txt")]
    assert len(FONTS) == 4 and len(licences) == 2
    assert all("SIL Open Font License, Version 1.1" in text for text in licences)


@pytest.mark.parametrize("name", ["handout", "label"])
def test_a_sheet_that_names_nobody_leaves_lines_to_write_on(name: str) -> None:
    with_a_name, without = handout_words(handout(), Contact("Keeper")), handout_words(handout(), Contact())
    assert with_a_name["ask"]["blanks"] == [] and without["ask"]["blanks"] == ["Name", "Number"]
    (bare,) = drawn(name, {**without, "ask": {**without["ask"], "blanks": []}}, Paper.A4)
    (lined,) = drawn(name, without, Paper.A4)
    assert lined.shape == bare.shape and (lined != bare).any()


def test_another_address_is_another_code_and_none_is_no_code() -> None:
    one, other = qr_svg("https://tub.example/t/7"), qr_svg("https://tub.example/t/8")
    assert one != other and ET.fromstring(one).tag.endswith("svg")
    without = handout_words(handout(), Contact("Keeper"))
    assert len(handout_pdf(without)) < len(handout_pdf(handout_words(handout(), CONTACT)))


def test_doses_leave_the_water_inside_the_bathing_limits() -> None:
    """The table's pH rows, applied to the believed tubs at that reading: 95 of 100 end between 6.8 and 8.2."""
    table = _Table(case())
    for row in rows(Quantity.PH):
        assert row.amount is not None
        table.beside.state = table._as_if(Quantity.PH, row.low)
        after = table.beside.dosed(case().products.compositions[row.amount.product], row.amount.grams, 0.2).ph
        low, high = np.quantile(after, (0.05, 0.95))
        assert low >= 6.8 and high <= max(8.2, row.low)
        assert abs(np.median(after) - 7.5) < abs(row.low - 7.5)
