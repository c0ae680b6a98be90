"""The handout for a terminal of 80 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping
from typing import Any

__all__ = ["render_handout"]

_WIDTH = 80


def render_handout(words: Mapping[str, Any]) -> str:
    """The words of a handout (``handout_words``) as lines."""
    parts = [words["name"], _wrap(f"{words['subtitle']} {words['made']}.")]
    parts += ["", words["enter"]["head"], *map(_bullet, words["enter"]["lines"])]
    parts += ["", words["bands"]["head"], *(_bullet(f"{row['name']}: {row['aim']}") for row in words["bands"]["rows"])]
    parts += ["", words["week"]["head"], *_week(words["week"]["steps"])]
    parts += ["", words["doses"]["head"], *_doses(words["doses"]["groups"]), _wrap(words["doses"]["note"])]
    parts += ["", words["soak"]["head"], *(_bullet(f"{who}: {add}") for who, add in words["soak"]["rows"])]
    parts += [_wrap(words["soak"]["note"])]
    for block in ("stop", "never"):
        parts += ["", words[block]["head"], *map(_bullet, words[block]["lines"])]
    ask = words["ask"]
    parts += ["", ask["head"], *map(_bullet, [*ask["who"], *ask["lines"], *([ask["qr"]] if ask["qr"] else [])])]
    return "\n".join([*parts, "", _wrap(words["foot"])]) + "\n"


def _week(steps: list[dict[str, str]]) -> Iterator[str]:
    for number, step in enumerate(steps, 1):
        time = f" ({step['time']})" if step["time"] else ""
        yield textwrap.fill(step["text"] + time, _WIDTH, initial_indent=f" {number:>2}  ", subsequent_indent="     ")


def _doses(groups: list[dict[str, Any]]) -> Iterator[str]:
    for group in groups:
        yield f"  {group['name']}"
        for row in group["rows"]:
            time = f" ({row['then']})" if row["then"] else ""
            yield textwrap.fill(
                f"{row['reads']}: {row['do']}{time}", _WIDTH, initial_indent="    ", subsequent_indent="      "
            )


def _bullet(text: str) -> str:
    return textwrap.fill(text, _WIDTH, initial_indent="  - ", subsequent_indent="    ")


def _wrap(text: str) -> str:
    return textwrap.fill(text, _WIDTH)
