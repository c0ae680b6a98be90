"""The safety sheet in words: the table of what never meets, the rules by topic, and what stands on a shelf."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Any

from tubwater.facts.safety import SafetyRule
from tubwater.reports.language import language
from tubwater.reports.text import named, text_of
from tubwater.reports.wrapped import bullet, wrapped
from tubwater.services.safety import SafetySheet

__all__ = ["render_safety", "safety_words"]


def safety_words(sheet: SafetySheet, made: date) -> dict[str, Any]:
    """Everything on the sheet as texts, lists and a table; ``made`` dates it."""
    return {
        "lang": language().value,
        "date": made.isoformat(),
        "title": _say("title"),
        "lead": _say("lead"),
        "table": {
            "head": _say("table"),
            "key": _say("table-key") + _mark(sheet),
            "mark": _mark(sheet),
            "families": [text_of("family", family) for family in sheet.families],
            "rows": [[_short(sheet, a, b) for b in sheet.families] for a in sheet.families],
            "meets": [_meets(sheet, family) for family in sheet.families],
        },
        "members": {"head": _say("members"), "rows": [list(row) for row in _members(sheet)]},
        "topics": [
            {"head": text_of("topic", topic), "lines": [_rule(rule) for rule in rules]} for topic, rules in sheet.rules
        ],
        "shelf": {"head": _say("shelf"), "lines": list(_shelf(sheet))},
        "unverified": _say("unverified"),
        "foot": _say("foot"),
    }


def render_safety(words: dict[str, Any]) -> str:
    """The words for a terminal of 80 columns; the table as one line for each pair."""
    parts = [words["title"], "", wrapped(words["lead"]), "", wrapped(words["table"]["head"])]
    names = words["table"]["families"]
    for i, first in enumerate(names):
        with_these = [f"{second} ({words['table']['rows'][i][j]})" for j, second in enumerate(names)
                      if words["table"]["rows"][i][j]]  # fmt: skip
        parts.append(bullet(f"{first}: {', '.join(with_these)}"))
    for block in (*words["topics"], words["shelf"]):
        if block["lines"]:
            parts += ["", block["head"], *(bullet(line) for line in block["lines"])]
    return "\n".join([*parts, "", wrapped(words["unverified"]), wrapped(words["foot"])]) + "\n"


def _say(kind: str, **values: object) -> str:
    return text_of("safety", kind, values)


def _short(sheet: SafetySheet, first: str, second: str) -> str:
    """A word for the cell; empty where nothing is known, or for a family with itself."""
    effect = sheet.effect(first, second) if first != second else ""
    return text_of("effect-short", effect) if effect else ""


def _mark(sheet: SafetySheet) -> str:
    return "" if sheet.basis.verified else "\u00a0*"


def _meets(sheet: SafetySheet, family: str) -> list[list[str]]:
    """What would come of it, and of which others, the gravest first; what has the same short word stands together."""
    found: dict[str, list[str]] = {}
    for effect, others in sheet.meets(family):
        found.setdefault(text_of("effect-short", effect), []).extend(text_of("family", other) for other in others)
    return [[effect, "; ".join(others)] for effect, others in found.items()]


def _members(sheet: SafetySheet) -> Iterator[tuple[str, str]]:
    for family, names in sheet.members:
        yield text_of("family", family), ", ".join(map(named, names))


def _rule(rule: SafetyRule) -> str:
    low, high = rule.minutes or (0.0, 0.0)
    text = text_of("safety-rule", rule.key, {"low": low, "high": high})
    return text if rule.basis.verified else f"{text}\u00a0*"


def _shelf(sheet: SafetySheet) -> Iterator[str]:
    if not sheet.hazards:
        return
    if not sheet.on_shelf:
        yield _say("shelf-none")
    for pair in sheet.on_shelf:
        effect = text_of("effect", pair.effect)
        yield _say("shelf-pair", first=named(pair.first), second=named(pair.second), effect=effect)
