"""The handout for a terminal of 80 columns."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from tubwater.reports.wrapped import bullet, filled, wrapped

__all__ = ["render_handout"]


def render_handout(words: Mapping[str, Any]) -> str:
    """The words of a handout (``handout_words``) as lines."""
    parts = [words["name"], wrapped(f"{words['subtitle']} {words['made']}.")]
    parts += ["", words["enter"]["head"], *map(bullet, words["enter"]["lines"])]
    parts += ["", words["bands"]["head"], *(bullet(f"{row['name']}: {row['aim']}") for row in words["bands"]["rows"])]
    parts += ["", words["week"]["head"], *_week(words["week"]["steps"])]
    parts += ["", words["doses"]["head"], *_doses(words["doses"]["groups"]), wrapped(words["doses"]["note"])]
    parts += ["", words["soak"]["head"], *(bullet(f"{who}: {add}") for who, add in words["soak"]["rows"])]
    parts += [wrapped(words["soak"]["note"])]
    for block in ("stop", "never"):
        parts += ["", words[block]["head"], *map(bullet, words[block]["lines"])]
    ask = words["ask"]
    parts += ["", ask["head"], *map(bullet, [*ask["who"], *ask["lines"], *([ask["qr"]] if ask["qr"] else [])])]
    return "\n".join([*parts, "", wrapped(words["foot"])]) + "\n"


def _week(steps: list[dict[str, str]]) -> Iterator[str]:
    for number, step in enumerate(steps, 1):
        time = f" ({step['time']})" if step["time"] else ""
        yield filled(step["text"] + time, f" {number:>2}  ", "     ")


def _doses(groups: list[dict[str, Any]]) -> Iterator[str]:
    for group in groups:
        yield f"  {group['name']}"
        for row in group["rows"]:
            time = f" ({row['then']})" if row["then"] else ""
            yield filled(f"{row['reads']}: {row['do']}{time}", "    ", "      ")
