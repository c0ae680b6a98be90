"""What a logbook of a year costs: a new reading, an outlook of two weeks, a plan, as solves of the reference code.

An invented tub with a strip a week, a dose, two soaks and a refill every quarter; the belief goes on from its own
checkpoints, as the logbook does.

Standalone: `python bench/learning.py --weeks 52`.
"""

# ruff: noqa: E402 - the thread count must be set before numpy is loaded
from __future__ import annotations

import os

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):  # one core; read when numpy is loaded
    os.environ.setdefault(_name, "1")

import argparse
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import median

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent / "tests" / "chemistry")]

import numpy as np
from reference import reference, script, solve

from chemistry import best, ensemble
from tubwater.advice import Situation, Wishes, make_plan
from tubwater.facts.quantity import OxidantScale, Quantity
from tubwater.services.advise import case_of
from tubwater.services.outlook import outlook_of
from tubwater.services.tubfile import TubFile, example_text, parse_tub_file
from tubwater.tub import Dosed, Event, FeederSet, Filled, Reading, Soaked, Tested

__all__ = ["run"]

_START = datetime(2026, 1, 5, 9, 0, tzinfo=UTC)
_MEMBERS, _WEEKS, _SHORT = 2000, 52, 8
_LIMITS = {"reading": 0.3, "outlook": 0.5, "plan": 1.0}  # s
_BROMINE, _PH, _ALKALINITY = (3.0, 1.0, 5.0, 3.0, 2.0), (7.5, 7.8, 7.5, 7.2), (80.0, 80.0, 120.0)


class _Kept(dict[str, bytes]):
    """Checkpoints in memory."""

    def put(self, key: str, value: bytes) -> None:
        self[key] = value


def week(number: int) -> list[Event]:
    """The entries of a week, the strip first."""
    at = _START + timedelta(weeks=number)
    later = at + timedelta(minutes=30)
    dose, feeder = Dosed(later, "oxidizer", 20.0, spread=0.2), FeederSet(later, "bromine tablets", 3, 0.5)
    values = (
        (Quantity.BROMINE, _BROMINE[number % 5], "mg/L", OxidantScale.AS_BR2),
        (Quantity.PH, _PH[number % 4], "pH", None),
        (Quantity.TOTAL_ALKALINITY, _ALKALINITY[number % 3], "mg/L", None),
    )
    readings = tuple(Reading(q, v, v, unit, "strip", at, scale) for q, v, unit, scale in values)
    fresh: list[Event] = [Filled(at - timedelta(hours=3))] if number % 13 == 0 else []
    soaks = [Soaked(at + timedelta(days=days), 2, 30.0) for days in (2.5, 4.5)]
    return [*fresh, Tested(at, readings), dose, feeder, *soaks]


def lived(file: TubFile, weeks: int, members: int) -> tuple[list[float], Situation]:
    """Seconds that each week's strip took, from checkpoints, and the situation at the last."""
    events: list[Event] = []
    kept, times, case = _Kept(), [], None
    for number in range(weeks):
        events += week(number)
        strip = next(e for e in events[::-1] if isinstance(e, Tested))
        heard = [e for e in events if e.at <= strip.at]
        begun = time.perf_counter()
        case = case_of(file.tub, file.shelf, heard, strip.at, 0, members, kept)
        times.append(time.perf_counter() - begun)
        print(f"\r{number + 1} of {weeks} weeks, {members} members ", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    assert case is not None
    return times, case


def rows(weeks: int) -> list[tuple[str, str]]:
    """What was measured and the result."""
    file = parse_tub_file(example_text(), _START)
    water = ensemble(2000)
    engine, text = reference(own_constants=False), script(water, np.full(water.shape, 7.5))
    solves = water.temperature.size / best(lambda: solve(engine, text))
    times, case = lived(file, weeks, _MEMBERS)
    young, old = times[1 : 1 + _SHORT], times[-_SHORT:]
    outlook = best(lambda: outlook_of(case, 14.0))
    plan = best(lambda: make_plan(case, Wishes(), 0))
    named = f"after {weeks} weekly readings, {_MEMBERS:,} members"
    return [
        ("reference code, full equilibria a second", f"{solves:,.0f}"),
        (f"one new reading {named}: median and largest of {len(old)}", _told("reading", median(old), solves, max(old))),
        (f"median of the last {len(old)} to that of {len(young)} from the second on", _grown(old, young)),
        ("outlook of two weeks", _told("outlook", outlook, solves)),
        ("plan of the known tub", _told("plan", plan, solves)),
        *_members(file),
    ]


def _grown(old: list[float], young: list[float]) -> str:
    return f"{median(old) / median(young):.1f} times"


def _members(file: TubFile) -> list[tuple[str, str]]:
    """How the cost grows with the members."""
    cost = {members: sum(lived(file, _SHORT, members)[0]) for members in (500, 1000, 2000)}
    grown = ", ".join(f"{cost[m] / cost[500]:.1f}" for m in cost)
    return [(f"{_SHORT} weeks at 500, 1,000 and 2,000 members, to the first", f"{grown} times")]


def _told(name: str, seconds: float, solves: float, most: float | None = None) -> str:
    held = "within the limit of" if (most or seconds) <= _LIMITS[name] else "OVER the limit of"
    span = f"{seconds:.2f} s" if most is None else f"{seconds:.2f} and {most:.2f} s"
    return f"{span}, {seconds * solves / 1000.0:,.1f} thousand solves ({held} {_LIMITS[name]:g} s)"


def run() -> list[tuple[str, str]]:
    """Rows of what was measured and the result, over a year."""
    return rows(_WEEKS)


def main() -> None:
    """Prints the rows."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--weeks", type=int, default=_WEEKS)
    for what, result in rows(ask.parse_args().weeks):
        print(f"{what}: {result}")


if __name__ == "__main__":
    main()
