"""Calibration of the belief on its own model, by simulation: ranks of the truth among the members are uniform.

Method: Talts et al. 2018, arXiv:1804.06788 (from memory). A tub, its water and everything unseen are drawn from the
prior; kits read them by their own likelihoods; the belief that follows is asked where among its members the truth lies.

Standalone: `python bench/calibration.py --draws 400 --members 500`.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):  # read when numpy is loaded
    os.environ.setdefault(_name, "1")
sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from belief.calibration import BINS, Ranked, ranked, uniform  # noqa: E402
from belief.histories import HISTORIES  # noqa: E402

__all__ = ["run"]


def many(draws: int, members: int, workers: int) -> list[Ranked]:
    """Ranks over every history, shared among processes."""
    jobs = [(k, first, members) for k in range(len(HISTORIES)) for first in range(0, draws, 20)]
    found = []
    with ProcessPoolExecutor(workers) as pool:
        for n, part in enumerate(pool.map(_some, jobs), 1):
            found += part
            print(f"\r{n} of {len(jobs)} batches ", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    return found


def _some(job: tuple[int, int, int]) -> list[Ranked]:
    history, first, members = job
    return ranked(HISTORIES[history], 20, members, seed=10_000 * history + first)  # no truth twice


def rows(found: Sequence[Ranked]) -> list[tuple[str, str]]:
    """What was measured and the result: for each quantity counts by bin and the chance of as uneven ones."""
    told = []
    for name in found[0].ranks:
        counts, chance = uniform([r.ranks[name] for r in found])
        inside = sum(0.05 <= r.ranks[name] <= 0.95 for r in found) / len(found)
        told.append((f"rank of {name}", f"{' '.join(map(str, counts))}; p = {chance:.3f}; {inside:.0%} in the 90 %"))
    healthy = sum(r.healthy for r in found) / len(found)
    distinct, acceptance = (sum(v) / len(found) for v in zip(*((r.distinct, r.acceptance) for r in found), strict=True))
    told.append(("updates that were healthy", f"{healthy:.0%}; {distinct:.0%} distinct, {acceptance:.0%} accepted"))
    return told


def run() -> list[tuple[str, str]]:
    """Rows of what was measured and the result, on few draws."""
    return rows(many(40, 300, os.cpu_count() or 1))


def main() -> None:
    """Prints the rows."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--draws", type=int, default=400, help="truths for each history")
    ask.add_argument("--members", type=int, default=500)
    ask.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    wanted = ask.parse_args()
    print(f"{BINS} bins, {len(HISTORIES)} histories, {wanted.draws} truths each")
    for what, result in rows(many(wanted.draws, wanted.members, wanted.workers)):
        print(f"{what}: {result}")


if __name__ == "__main__":
    main()
