"""Every kind has its text, and a plan reads well on 80 columns."""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

import tubwater
from tubwater.errors import UnknownKey
from tubwater.reports import units as show
from tubwater.reports.data import to_json
from tubwater.reports.language import Language, speaking
from tubwater.reports.plain import amount_text, render_plan, render_verdict, step_text
from tubwater.reports.text import explain, explained, kinds, sentence, text_of
from tubwater.services.tubfile import UnitSystem
from tubwater.tub import (
    Amount,
    Basis,
    BasisKind,
    Expectation,
    Plan,
    Quantity,
    Reading,
    Reason,
    Step,
    StepKind,
    Verdict,
    VerdictKind,
)

NOW = datetime(2026, 11, 20, 9, 0, tzinfo=UTC)
SOURCES = sorted((Path(tubwater.__file__).parent / "advice").glob("*.py"))
VERDICT = Verdict(
    VerdictKind.NOT_YET, NOW, NOW, 0, 0.0, 0.4, 0.9, (Reason("clarity-unknown"),), (Reason("test-again"),)
)


def used_kinds() -> set[str]:
    found = set()
    for path in SOURCES:
        found |= set(re.findall(r'Reason\(\s*"([^"]+)"', path.read_text(encoding="utf-8")))
    return found


@pytest.mark.parametrize(("task", "may"), [("rinse-filter", True), ("inspect-suction-covers", False)])
def test_what_holds_people_fast_is_not_left_out_when_time_is_short(task: str, may: bool) -> None:
    step = Step(StepKind.CHECK, minutes=2.0, task=task, optional=True)
    assert ("May be left out" in step_text(step)) is may


def test_every_kind_that_advice_gives_has_a_text() -> None:
    assert used_kinds() <= set(kinds("reason"))


@pytest.mark.parametrize("kind", list(StepKind))
def test_every_kind_of_step_has_a_sentence(kind: StepKind) -> None:
    assert step_text(
        Step(kind, minutes=20.0, litres=300.0, amount=Amount("soda ash", "sodium-carbonate", 20.0))
    ).endswith(".")


@pytest.mark.parametrize("quantity", list(Quantity))
def test_every_quantity_has_a_name(quantity: Quantity) -> None:
    assert text_of("quantity", quantity)


def test_an_unknown_kind_is_refused() -> None:
    with pytest.raises(UnknownKey):
        sentence(Reason("no-such-kind"))


def test_a_missing_value_is_refused() -> None:
    with pytest.raises(UnknownKey):
        sentence(Reason("lapse"))


def test_texts_use_no_word_that_a_household_does_not_know() -> None:
    said = " ".join(text_of(section, kind) for section in ("caution", "quantity", "method") for kind in kinds(section))
    assert not re.search(r"\b(belief|ensemble|fleet|TA|CH|CYA)\b", said)


@pytest.mark.parametrize(
    ("minutes", "said"),
    [
        (1.0, "1 minute"),
        (17.2, "18 minutes"),
        (60.0, "60 minutes"),
        (68.0, "70 minutes"),
        (120.0, "2 hours"),
        (138.0, "2 h 30 min"),
        (281.0, "4 h 45 min"),
        (300.0, "5 hours"),
        (610.0, "11 hours"),
        (1440.0, "24 hours"),
        (5800.0, "4.5 days"),
    ],
)
def test_a_wait_is_told_no_finer_than_anybody_keeps_it(minutes: float, said: str) -> None:
    assert show.lasting(minutes) == said


def test_a_wait_is_never_told_shorter_than_it_is() -> None:
    size = {"minute": 1.0, "minutes": 1.0, "min": 1.0, "h": 60.0, "hours": 60.0, "days": 1440.0}
    for tenths in range(1, 120_000, 7):
        words = show.lasting(tenths / 10.0).split()
        told = sum(float(count) * size[unit] for count, unit in zip(words[::2], words[1::2], strict=True))
        assert tenths / 10.0 <= told + 1e-9, words


@pytest.mark.parametrize(
    ("at", "said"),
    [
        ("2026-11-20T09:01", "Fri 20 Nov, 09:05"),
        ("2026-11-20T06:00", "Fri 20 Nov, 06:00"),
        ("2026-11-20T02:35", "Fri 20 Nov, in the morning (not before 02:35)"),
        ("2026-11-20T21:58", "Sat 21 Nov, in the morning (or from 22:00 the evening before)"),
        ("2026-11-20T23:56", "Sat 21 Nov, in the morning (not before 00:00)"),
    ],
)
def test_nobody_is_sent_to_a_tub_in_the_night(at: str, said: str) -> None:
    assert show.returning(datetime.fromisoformat(at)) == said


def test_a_time_from_which_on_is_never_told_earlier() -> None:
    told = [show.moment_from(NOW + timedelta(seconds=late)) for late in (0, 1, 299, 300)]
    assert told == ["Fri 20 Nov, 09:00", "Fri 20 Nov, 09:05", "Fri 20 Nov, 09:05", "Fri 20 Nov, 09:05"]


def test_a_temperature_is_said_in_the_keepers_units() -> None:
    reason = Reason("too-hot", {"temperature": 41.0, "limit": 40.0})
    assert "41 °C" in sentence(reason)
    assert "104 °F" in sentence(reason, UnitSystem.US)


def test_a_basis_from_memory_shows_as_unverified() -> None:
    assert "unverified" in explain(Reason("lapse", {"hours": 30.0}, Basis(BasisKind.FROM_MEMORY, ("mahc",))))


def test_a_dose_shows_weight_and_measure() -> None:
    amount = Amount("soda ash", "sodium-carbonate", 45.0, 1.5, "scoop")
    assert amount_text(amount) == "45 g of soda ash, that is 1½ level scoops"
    assert amount_text(amount, UnitSystem.US).startswith("1.59 oz")


def test_a_plan_fits_into_80_columns_and_ends_with_when_to_come_back() -> None:
    step = Step(
        StepKind.DOSE,
        Amount("potassium monopersulfate granules", "monopersulfate", 45.0, 1.5, "scoop"),
        reasons=(Reason("weekly-shock"),),
        expected=(Expectation(Quantity.BROMINE, 6.0, 4.0, 8.0), Expectation(Quantity.PH, 7.5, 7.3, 7.7)),
        cautions=("one-container", "oxidizer-fire"),
    )
    end = (Reason("fit-after-test", {"quantity": "bromine", "low": 3.0, "high": 10.0}),)
    plan = Plan(NOW, "in-use", VERDICT, (step,), None, (), (), end, NOW + timedelta(days=7), None)
    lines = render_plan(plan).splitlines()
    assert max(map(len, lines)) <= 80
    assert " ".join(lines).endswith("Come back Fri 27 Nov, 09:00.")


@pytest.mark.parametrize(
    ("earlier", "said"), [(1, "of step 1."), (2, "of steps 1 and 2."), (3, "of steps 1, 2 and 3.")]
)
def test_cautions_told_before_are_pointed_to_as_a_list(earlier: int, said: str) -> None:
    keys = ("one-container", "oxidizer-fire", "gloves-goggles")[:earlier]
    steps = tuple(Step(StepKind.VENT, minutes=10.0, cautions=(key,)) for key in keys)
    plan = Plan(
        NOW, "in-use", VERDICT, (*steps, Step(StepKind.VENT, minutes=10.0, cautions=keys)), None, (), (), (), NOW, None
    )
    assert f"Also the cautions {said}" in render_plan(plan)


@pytest.mark.parametrize(
    ("value", "said"),
    [(6.53, "6.5"), (39.2, "39"), (0.0123, "0.01"), (0.0, "0"), (-1.26, "-1.3"), (143.0, "140"), (7.61, "7.6")],
)
def test_what_is_only_about_right_is_told_with_two_figures(value: float, said: str) -> None:
    assert show.rough(value) == said


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (0.0, "0.0"),
        (6.53, "6.5"),
        (9.96, "10"),
        (14.5, "14"),
        (82.6, "83"),
        (123.0, "120"),
        (635.0, "640"),
        (1341.0, "1300"),
    ],
)
def test_a_value_of_the_water_is_told_no_finer_than_a_test_shows_it(value: float, said: str) -> None:
    assert show.believed(value) == said


@pytest.mark.parametrize(("count", "said"), [(0.5, "(½ level spoon)"), (2.0, "(2 level spoons)")])
def test_what_may_be_added_after_a_test_is_told_in_the_products_own_measure(count: float, said: str) -> None:
    values = {"grams": 7.5, "product": "dry acid", "measure": "spoon", "count": count}
    assert said in sentence(Reason("retest-tells", values))
    assert "(" not in sentence(Reason("retest-tells", {**values, "measure": "scale"}))


@pytest.mark.parametrize("kind", ["not-sure-sanitizer", "not-sure-ph"])
def test_what_falls_short_of_what_is_asked_for_never_reads_as_if_it_reached_it(kind: str) -> None:
    said = sentence(Reason(kind, {"probability": 0.9469, "needed": 0.95}))
    assert "94 %" in said and said.count("95 %") == 1


@pytest.mark.parametrize(("value", "said"), [(2.734, "about 2.7 "), (2.99, "about 2.9 ")])
def test_what_will_be_read_is_told_as_a_kit_reads_it_and_below_what_is_needed(value: float, said: str) -> None:
    assert said in sentence(Reason("not-enough-by-then", {"quantity": "bromine", "value": value, "low": 3.0}))


def test_a_verdict_says_how_long_it_holds() -> None:
    fit = Verdict(VerdictKind.FIT, NOW, NOW + timedelta(hours=6), 2, 15.0, 0.97, 0.95, (Reason("both-locks"),))
    assert "good until Fri 20 Nov, 15:00" in render_verdict(fit)
    assert "Up to 2 people" in render_verdict(fit)


def test_json_of_a_value_is_valid_and_has_no_infinity() -> None:
    reading = Reading(Quantity.BROMINE, float("-inf"), 1.0, "mg/L", "strip", NOW)
    assert json.loads(to_json(reading))["low"] is None


def test_what_is_only_about_right_is_a_clean_amount_in_either_unit() -> None:
    assert [show.about_grams(g) for g in (602.3, 1234.0, 47.4, 3.26)] == ["600 g", "1.2 kg", "47 g", "3.3 g"]
    assert show.about_grams(602.3, UnitSystem.US) == "21 oz" and show.about_grams(0.0) == "0 g"


@pytest.mark.parametrize("language", Language)
@pytest.mark.parametrize("kind", BasisKind)
def test_what_is_ours_never_reads_as_what_its_sources_say(kind: BasisKind, language: Language) -> None:
    with speaking(language):
        said, rest = explained(Reason("lapse", basis=Basis(kind, ("mahc",), "as read")))
        sure, read = text_of("basis", kind), text_of("basis", "read-for-it", {"kind": ""}).split()[-1]
        theirs = kind in (BasisKind.PUBLISHED, BasisKind.REPORTED)
        assert said == sure if theirs else sure in said and said.endswith(read)
        assert (". Note: as read" in rest) is not theirs
        assert explained(Reason("lapse", basis=Basis(kind)))[0] == sure
