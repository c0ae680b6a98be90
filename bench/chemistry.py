"""Full equilibria of an ensemble against the reference code's fastest call, on one core, in the same run.

Standalone: `python bench/chemistry.py`.
"""

# ruff: noqa: E402 - the thread count must be set before numpy is loaded
from __future__ import annotations

import os

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):  # one core; read when numpy is loaded
    os.environ.setdefault(_name, "1")

import sys
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests" / "chemistry"))

from reference import reference, script, solve
from waters import random_waters

from tubwater.chemistry import MG_PER_EQ_CACO3, Constants, Water, equilibrate, freeze, water_at_ph

__all__ = ["best", "ensemble", "run"]

_MEMBERS, _REFERENCE_MEMBERS, _REPEATS = 100_000, 3_000, 3
_SAME = Constants(calcium_borate=False)


def ensemble(count: int) -> Water:
    """Possible waters of one bromine tub with borate: carbonate, borate, hypobromous acid and all ion pairs."""
    r = np.random.default_rng(20260504)
    bare = Water.of(
        r.uniform(36.0, 40.0, count),
        calcium=r.uniform(0.5e-3, 4e-3, count),
        magnesium=r.uniform(1e-4, 5e-4, count),
        potassium=r.uniform(1e-4, 1e-3, count),
        chloride=r.uniform(2e-3, 1e-2, count),
        sulfate=r.uniform(3e-4, 5e-3, count),
        borate=r.uniform(0.0, 4e-3, count),
        bromide=r.uniform(1e-4, 6e-4, count),
        bromine=r.uniform(0.0, 6e-5, count),
    )
    return water_at_ph(bare, r.uniform(7.0, 8.2, count), r.uniform(50.0, 150.0, count) / MG_PER_EQ_CACO3 * 1e-3, _SAME)


def best(call: Callable[[], Any]) -> float:
    """Seconds of the quickest of a few calls."""
    times = []
    for _ in range(_REPEATS):
        begin = time.perf_counter()
        call()
        times.append(time.perf_counter() - begin)
    return min(times)


def run() -> list[tuple[str, str]]:
    """Rows of what was measured and the result."""
    water = ensemble(_MEMBERS)
    few = water[:_REFERENCE_MEMBERS]
    engine, text = reference(own_constants=False), script(few, np.full(few.shape, 7.5))
    theirs = _REFERENCE_MEMBERS / best(lambda: solve(engine, text))
    ours = _MEMBERS / best(lambda: equilibrate(water, _SAME))
    apart = np.abs(equilibrate(few, _SAME).ph - solve(engine, text)[0]).max()
    return [
        ("full equilibrium, solves per second", f"{ours:,.0f} against {theirs:,.0f}: {ours / theirs:.0f} times"),
        ("largest difference in pH of the two", f"{apart:.4f}"),
        (
            "the same with every species listed",
            f"{_MEMBERS / best(lambda: equilibrate(water, _SAME).concentrations):,.0f} a second",
        ),
        ("wide random waters", _wide(theirs)),
        ("memory of a solved water", f"{_memory(water):.0f} bytes at the peak"),
        ("pH of a frozen buffer", _frozen(water, theirs)),
    ]


def _wide(theirs: float) -> str:
    water = random_waters(1, 50_000, _SAME)
    rate = water.temperature.size / best(lambda: equilibrate(water, _SAME))
    return f"{rate:,.0f} a second, {rate / theirs:.0f} times"


def _memory(water: Water) -> float:
    tracemalloc.start()
    equilibrate(water, _SAME)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return float(peak / _MEMBERS)


def _frozen(water: Water, theirs: float) -> str:
    members = water[:2_000]
    frozen, start = freeze(members, _SAME), equilibrate(members, _SAME).ph
    alkalinity = members.alkalinity + np.linspace(-5e-4, 5e-4, 4)[:, None]
    rate = alkalinity.size / best(lambda: frozen.ph(alkalinity, members.carbonate, members.bromine, start))
    return f"{rate:,.0f} a second, {rate / theirs:.0f} times"


if __name__ == "__main__":
    for what, result in run():
        print(f"{what}: {result}")
