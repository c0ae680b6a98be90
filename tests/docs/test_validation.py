"""The numbers of docs/validation.md are those of the tests that it names."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from advice.situations import scenes

ROOT = Path(__file__).resolve().parent.parent.parent
TOLD = (ROOT / "docs" / "validation.md").read_text(encoding="utf-8")


def number_in(path: str, pattern: str) -> int:
    """The one number that a pattern finds in a test."""
    found = re.findall(pattern, (ROOT / "tests" / path).read_text(encoding="utf-8"), re.MULTILINE)
    assert len(found) == 1, (path, pattern, found)
    return int(found[0].replace("_", ""))


def test_the_scenarios_are_as_many_as_they_are_said_to_be() -> None:
    found = re.search(r"Each of (\d+) situations has at least three scenarios, (\d+) in all", TOLD)
    assert found and [int(number) for number in found.groups()] == [len({s.situation for s in scenes()}), len(scenes())]


def test_the_reference_waters_are_as_many_as_they_are_said_to_be() -> None:
    stored = json.loads((ROOT / "tests/chemistry/data/reference_waters.json").read_text(encoding="utf-8"))["waters"]
    assert f"| {len(stored)} stored waters" in TOLD


@pytest.mark.parametrize(
    ("path", "pattern", "said"),
    [
        ("chemistry/test_live_reference.py", r"^COUNT = (\d+)$", "at least 500 of {} random waters"),
        ("advice/test_rules.py", r"^ANSWERS = (\d+) if", "The check asks for {:,} answers"),
        ("advice/test_outside_the_model.py", r"^TUBS, WEEKS, MEMBERS = (\d+), 2, ", "six tubs for two weeks"),
        ("belief/test_against_a_general_sampler.py", r"^SHIFT, NARROW, WIDE = 0\.(\d), ", "within 0.{} half-widths"),
    ],
)
def test_a_number_of_a_test_is_the_one_that_is_told(path: str, pattern: str, said: str) -> None:
    assert said.format(number_in(path, pattern)) in TOLD
    assert "six" not in said or number_in(path, pattern) == 6
