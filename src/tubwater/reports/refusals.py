"""What is refused, in the reader's language: exceptions say it in English, and the catalogue knows their sentences."""

from __future__ import annotations

import re
from functools import cache

from tubwater.errors import Problem
from tubwater.reports.language import Language, language, texts
from tubwater.reports.text import field_words, text_of

__all__ = ["problem_line", "refusal"]

_NUMBER = r"-?[\d.,]+ ?[^\s\d]*"  # with its unit
_GAP = re.compile(r"\{(\w)\}")


def refusal(text: str) -> str:
    """A clause of an exception in the chosen language; one that the catalogue does not know stays as it is."""
    if language() is Language.ENGLISH:
        return text
    for kind, pattern in _patterns():
        found = pattern.fullmatch(text)
        if found:
            return texts(language())["refusal"][kind].format(**{k: _filled(k, v) for k, v in found.groupdict().items()})
    return text


def _filled(name: str, text: str) -> str:
    """What stands in a clause: words of the program, a test method, another clause, or what the keeper wrote."""
    if name == "w":
        return ", ".join(field_words(word) for word in text.split(", "))
    return _method(text) if name == "k" else refusal(text)


def _method(name: str) -> str:
    """A test method in words, from its name in English."""
    known = {text: key for key, text in texts(Language.ENGLISH)["method-name"].items()}
    return texts(language())["method-name"][known[name]] if name in known else name


def problem_line(problem: Problem) -> str:
    """A problem with what was entered, as one line."""
    values = {"given": refusal(problem.given), "expected": refusal(problem.expected)}
    return text_of("refused", "problem", {"field": problem.field, **values})


@cache
def _patterns() -> tuple[tuple[str, re.Pattern[str]], ...]:
    """The English clauses as patterns, those first that say the most."""
    known = texts(Language.ENGLISH)["refusal"]
    ranked = sorted(known, key=lambda kind: -len(_GAP.sub("", known[kind])))
    return tuple((kind, _pattern(known[kind])) for kind in ranked)


def _pattern(text: str) -> re.Pattern[str]:
    parts = _GAP.split(text)
    told = (_gap(part) if place % 2 else re.escape(part) for place, part in enumerate(parts))
    return re.compile("".join(told), re.DOTALL)


def _gap(name: str) -> str:
    return f"(?P<{name}>{_NUMBER if name in 'nm' else '.+?'})"
