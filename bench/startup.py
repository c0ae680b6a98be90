"""How long `tubwater --help` takes, as a multiple of the start of a bare interpreter in the same run."""

from __future__ import annotations

import subprocess
import sys
import time

__all__ = ["run"]

ROUNDS = 15
BARE = ("-c", "pass")
HELP = ("-m", "tubwater", "--help")
LIMIT = 5.0


def run() -> list[tuple[str, str]]:
    """The ratio of the best of several starts, taken in turn so that a busy machine hits both alike."""
    pairs = [(seconds(BARE), seconds(HELP)) for _ in range(ROUNDS)]
    bare, shown = (min(column) for column in zip(*pairs, strict=True))
    verdict = "within" if shown <= LIMIT * bare else "OVER"
    return [
        ("bare interpreter, start to end", f"{1000 * bare:.0f} ms"),
        ("`tubwater --help` to bare interpreter", f"{shown / bare:.1f} x ({verdict} the limit of {LIMIT:g} x)"),
    ]


def seconds(arguments: tuple[str, ...]) -> float:
    """The wall time of one interpreter with these arguments."""
    started = time.perf_counter()
    subprocess.run([sys.executable, *arguments], stdout=subprocess.DEVNULL, check=True)
    return time.perf_counter() - started
