"""Every clause that refuses something is known to the catalogue, and is told in the language that was chosen."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

import tubwater
from tubwater.errors import InputError, UnknownEntry, UnknownKey
from tubwater.logbook import faults
from tubwater.reports.language import Language, speaking
from tubwater.reports.refusals import _patterns, problem_line, refusal
from tubwater.services.tubfile import parse_tub_file
from tubwater.units import parse_amount

REFUSERS = frozenset({"one", "Problem", "wrong", "need", "RowProblem", "StoreUnavailable"})
CODE = Path(tubwater.__file__).parent


def clauses() -> Iterator[tuple[str, str]]:
    """Each clause that is written where something is refused, with the place; 0 stands for what is filled in."""
    for path in sorted(CODE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            name = getattr(node.func, "attr", getattr(node.func, "id", "")) if isinstance(node, ast.Call) else ""
            if isinstance(node, ast.Call) and name in REFUSERS:
                # The first is where it stands, not what.
                for argument in node.args[0 if name == "StoreUnavailable" else 1 :]:
                    yield from ((text, f"{path.name}:{node.lineno}") for text in said(argument))


def said(node: ast.expr) -> Iterator[str]:
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield node.value
    elif isinstance(node, ast.JoinedStr):
        text = "".join(str(part.value) if isinstance(part, ast.Constant) else "0" for part in node.values)
        yield text.removesuffix("them0") + "them" * text.endswith("them0")  # a hint that may be empty
    elif isinstance(node, ast.IfExp):
        yield from (*said(node.body), *said(node.orelse))


def test_every_clause_of_the_code_is_in_the_catalogue() -> None:
    found = [(text, place) for text, place in clauses() if re.search(r"[a-z]{2,} [a-z]", text)]
    assert len(found) > 100
    unknown = [one for one in found if not any(pattern.fullmatch(one[0]) for _, pattern in _patterns())]
    assert unknown == []


def test_every_fault_of_a_store_is_in_the_catalogue() -> None:
    said = [*faults._SQLITE.values(), *faults._POSTGRESQL.values()]
    assert [text for text in said if not any(pattern.fullmatch(text) for _, pattern in _patterns())] == []


def test_english_stays_as_the_exception_says_it() -> None:
    assert refusal("a number, such as 1300 or 1.5") == "a number, such as 1300 or 1.5"


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        ("one of bromine, chlorine; did you mean bromine", ("bromine, chlorine", "bromine")),
        ("1 to 90 days", ("1", "90")),
        ("tables headed [[product]]", ("[[product]]",)),
        ('an amount with its unit in quotes, such as "1300 L"', ('"1300 L"',)),
        (str(UnknownEntry("tub", "none")), ('"none"',)),
        (str(UnknownKey("guideline", "hom", ["home", "spa"])), ('"hom"', "home")),
    ],
)
def test_what_is_filled_in_stands_in_the_german_clause_too(text: str, kept: tuple[str, ...]) -> None:
    with speaking(Language.GERMAN):
        german = refusal(text)
    assert german != text and all(part in german for part in kept)


def test_what_nobody_wrote_down_stays_as_it_is() -> None:
    with speaking(Language.GERMAN):
        assert refusal("Zed's dead") == "Zed's dead"


def test_a_problem_names_its_field_what_was_given_and_what_was_expected() -> None:
    with pytest.raises(InputError) as caught:
        parse_amount("much", "tub.volume")
    (problem,) = caught.value.problems
    assert problem_line(problem) == str(problem)
    with speaking(Language.GERMAN):
        line = problem_line(problem)
    assert line.startswith("tub.volume:") and "much" in line and "expected" not in line


def test_the_problems_of_a_file_are_told_in_german() -> None:
    with pytest.raises(InputError) as caught:
        parse_tub_file('[tub]\nvolume = "1300 L"\nsanitizer = "salt"\n', datetime(2026, 11, 20, tzinfo=UTC))
    with speaking(Language.GERMAN):
        lines = [problem_line(problem) for problem in caught.value.problems]
    assert lines and not any(re.search(r"\b(expected|got|one of|or)\b", line) for line in lines)
