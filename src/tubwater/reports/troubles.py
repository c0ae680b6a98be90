"""Likely causes of a trouble for a terminal."""

from __future__ import annotations

import textwrap

from tubwater.reports import units as show
from tubwater.reports.text import kinds, text_of, upper_first
from tubwater.reports.wrapped import WIDTH, bullet, wrapped
from tubwater.services.troubles import Ranked, Ranking

__all__ = ["render_ranking"]


def render_ranking(ranking: Ranking) -> str:
    """Causes with their likelihood and remedies, and the next check; for complaints the fixed advice."""
    if ranking.complaint:
        advice = (bullet(text_of("complaint", kind)) for kind in kinds("complaint"))
        return "\n".join([text_of("trouble", "unwell"), *advice, *_plans(ranking), ""])
    lines = [text_of("trouble", "title"), ""]
    for cause in ranking.causes:
        lines += [*_cause(cause), ""]
    if ranking.next_check:
        lines += [text_of("trouble", "next"), bullet(text_of("check", ranking.next_check)), ""]
    lines += [*_plans(ranking), ""]
    return "\n".join([*lines, wrapped(text_of("trouble", "foot")), ""])


def _plans(ranking: Ranking) -> list[str]:
    """How the plan for it is asked for."""
    asked = [
        text_of("trouble", "plan-about", {"key": key, "purpose": text_of("purpose", key)}) for key in ranking.plans
    ] or [text_of("trouble", "plan-usual")]
    return [text_of("trouble", "plan"), *map(bullet, asked)]


def _cause(cause: Ranked) -> list[str]:
    name = text_of("cause", cause.cause)
    head = f"{show.percent(cause.probability):>10}  {upper_first(name)}"
    return [
        head,
        *(
            textwrap.fill(text_of("remedy", key), WIDTH, initial_indent=" " * 12 + "- ", subsequent_indent=" " * 14)
            for key in cause.remedy
        ),
    ]
