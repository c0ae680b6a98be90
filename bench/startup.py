"""How long `tubwater --help` and a whole plan take, as multiples of the start of a bare interpreter in the same run.

Modules are compiled once beforehand, as on any machine that has run the program before.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

__all__ = ["run"]

ROUNDS, PLANS = 15, 5
BARE = ("-c", "pass")
HELP = ("-m", "tubwater", "--help")
PLAN = ("-m", "tubwater", "plan", str(Path(__file__).resolve().parent.parent / "examples" / "tub.toml"))
LIMIT = 5.0  # times
PLAN_LIMIT = 2.0  # s


def run() -> list[tuple[str, str]]:
    """The best of several starts, taken in turn so that a busy machine hits all alike."""
    with tempfile.TemporaryDirectory() as compiled:
        seconds(PLAN, compiled)
        pairs = [(seconds(BARE, compiled), seconds(HELP, compiled)) for _ in range(ROUNDS)]
        bare, shown = (min(column) for column in zip(*pairs, strict=True))
        plan = min(seconds(PLAN, compiled) for _ in range(PLANS))
    return [
        ("bare interpreter, start to end", f"{1000 * bare:.0f} ms"),
        ("`tubwater --help` to bare interpreter", f"{shown / bare:.1f} x ({_held(shown / bare, LIMIT)} {LIMIT:g} x)"),
        (
            "`tubwater plan` of the example tub to bare interpreter",
            f"{plan / bare:.0f} x, {plan:.2f} s ({_held(plan, PLAN_LIMIT)} {PLAN_LIMIT:g} s)",
        ),
    ]


def _held(value: float, limit: float) -> str:
    return "within the limit of" if value <= limit else "OVER the limit of"


def seconds(arguments: tuple[str, ...], compiled: str) -> float:
    """The wall time of one interpreter with these arguments, its compiled modules in the folder ``compiled``."""
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    started = time.perf_counter()
    subprocess.run(
        [sys.executable, *arguments],
        stdout=subprocess.DEVNULL,
        check=True,
        env=kept | {"PYTHONPYCACHEPREFIX": compiled},
    )
    return time.perf_counter() - started


if __name__ == "__main__":
    for what, result in run():
        print(f"{what}: {result}")
