"""Signs in, causes out."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tubwater.advice.troubles import rank
from tubwater.errors import UnknownKey
from tubwater.facts import troubles
from tubwater.facts.purposes import purposes
from tubwater.reports.text import kinds

SIGNS = tuple(troubles().signs)
CHECKS = tuple(troubles().checks)


@pytest.mark.parametrize(
    ("signs", "cause"),  # the table of the trade: the first cause a keeper would look for (common practice)
    [
        (["zero-after-dose"], "bleached-reading"),
        (["ph-keeps-rising"], "gas-loss"),
        (["clear-green"], "copper"),
        (["brown"], "iron-manganese"),
        (["cloudy-white", "scale"], "calcium-precipitate"),
        (["musty-odour", "sanitizer-never-holds"], "biofilm"),
        (["ph-bounces"], "low-alkalinity"),
        (["foam"], "lotion-soap"),
    ],
)
def test_the_likeliest_cause_is_the_one_that_the_trade_looks_for_first(signs: list[str], cause: str) -> None:
    assert rank(signs).causes[0].cause == cause


@given(st.sets(st.sampled_from(SIGNS), min_size=1, max_size=4), st.sets(st.sampled_from(SIGNS), max_size=3))
def test_shares_are_probabilities_in_order(present: set[str], absent: set[str]) -> None:
    found = rank(present, absent - present, most=len(troubles().causes)).causes
    shares = [c.probability for c in found]
    assert shares == sorted(shares, reverse=True)
    assert sum(shares) == pytest.approx(1.0)


@given(st.sampled_from(SIGNS))
def test_the_check_asked_for_changes_the_ranking_by_its_answer(sign: str) -> None:
    before = rank([sign])
    if before.next_check:
        yes, no = (rank([sign], answers={before.next_check: answer}) for answer in (True, False))
        assert yes.causes != no.causes and before.gain > 0.0
        assert yes.next_check != before.next_check


def test_the_believed_water_speaks_for_and_against() -> None:
    low, high = (rank(["cloudy-white"], water={"sanitizer-low": p}).causes for p in (0.0, 1.0))
    share = [
        next(c.probability for c in found if c.cause == "low-sanitizer")
        if "low-sanitizer" in {c.cause for c in found}
        else 0.0
        for found in (low, high)
    ]
    assert share[1] > 3 * share[0]


@pytest.mark.parametrize("complaint", troubles().complaints)
def test_complaints_of_people_are_never_ranked(complaint: str) -> None:
    found = rank([complaint, "foam"])
    assert found.complaint and found.causes == ()


def test_an_unknown_sign_is_said_with_those_that_are_near() -> None:
    with pytest.raises(UnknownKey, match="foam"):
        rank(["foan"])


def test_every_sign_cause_check_and_remedy_has_its_words() -> None:
    table = troubles()
    assert set(kinds("sign")) == {*table.signs, *table.complaints}
    assert set(kinds("cause")) == set(table.causes)
    assert set(kinds("check")) == set(table.checks)
    assert set(kinds("remedy")) == {key for cause in table.causes.values() for key in cause.remedy}


def test_every_sign_and_complaint_leads_to_a_plan() -> None:
    table = troubles()
    assert set(table.plans) == {*table.signs, *table.complaints}
    assert {key for key in table.plans.values() if key} <= set(purposes())
    assert {sign for sign, key in table.plans.items() if not key} == {"sanitizer-stuck-high", "zero-after-dose"}


def test_every_sign_has_a_cause_and_every_cause_a_check() -> None:
    table = troubles()
    assert all(any(sign in cause.signs for cause in table.causes.values()) for sign in table.signs)
    assert all(set(cause.checks) <= set(table.checks) and cause.checks for cause in table.causes.values())
