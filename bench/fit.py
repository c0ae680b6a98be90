"""Never fit when it is not: verdicts at soak times on hidden tubs that do not follow the model.

The tubs of the trial (water by the reference code, other rate laws, drift, clogged feeders, blunders, scoops that
lie) are kept by the plans; half of them roughly: a plate that is wrong by up to 40 %, three soaks of ten that nobody
notes, a hand that spills. Before each soak the verdict is asked, with a strip or a drop kit in hand. A soak was
allowed wrongly where the sanitizer is below 2 or above 10 mg/L in truth, or pH outside 7.0 to 8.0.

Standalone: `python bench/fit.py --tubs 40 --weeks 4`.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):  # read when numpy is loaded
    os.environ.setdefault(_name, "1")
sys.path.append(str(Path(__file__).resolve().parent))

from scipy.stats import beta  # noqa: E402
from trial.keeping import Choices, Kept, Scene, keep, scene_of  # noqa: E402
from trial.policies import Ours  # noqa: E402

__all__ = ["asked", "run", "upper_limit"]

_KITS = ("strip", "kit")
_LOW, _HIGH, _ACID, _BASE = 2.0, 10.0, 7.0, 8.0


def roughly(scene: Scene) -> Scene:
    """The same tub under a wrong plate, with soaks that nobody notes and a careless hand."""
    g = scene.luck.at("rough")
    plate = round(scene.tub.litres * float(g.uniform(0.7, 1.4)), -1)
    house = replace(scene.house, hand=0.3, unlogged=0.3, missed=0.2)
    soaks = tuple(replace(soak, logged=soak.logged and float(g.random()) > 0.3) for soak in scene.soaks)
    return replace(scene, tub=replace(scene.tub, litres=plate), house=house, soaks=soaks)


def asked(number: int, weeks: int, members: int) -> Counter[str]:
    """Counts of one hidden tub: asked, fit and wrongly fit, for each kit; every second tub is kept roughly."""
    choices = Choices(weeks=weeks, kit=_KITS[number // 2 % 2], members=members, entry=_KITS, seed=11)
    scene = scene_of(number, choices)
    kept = keep(roughly(scene) if number % 2 else scene, Ours(), choices)
    return _counts(kept)


def _counts(kept: Kept) -> Counter[str]:
    counts: Counter[str] = Counter()
    for _, bromine, ph, *answers in kept.soaks:
        bare = not _LOW <= bromine <= _HIGH
        bad = bare or not _ACID <= ph <= _BASE
        counts["soaks when the water was not fit"] += bad
        for kit, answer in zip(_KITS, answers, strict=True):
            counts[f"{kit}: asked"] += 1
            counts[f"{kit}: fit"] += answer == 1.0
            counts[f"{kit}: wrongly fit"] += answer == 1.0 and bad
            counts[f"{kit}: wrongly fit by the sanitizer"] += answer == 1.0 and bare
    return counts


def upper_limit(wrong: int, allowed: int) -> float:
    """The upper 95 % limit of the share of wrong ones (Clopper & Pearson 1934, from memory)."""
    return 1.0 if wrong >= allowed else float(beta.ppf(0.95, wrong + 1, allowed - wrong))


def counted(tubs: int, weeks: int, members: int, workers: int, first: int = 0) -> Counter[str]:
    """Counts over many tubs, shared among processes, with progress on standard error."""
    total: Counter[str] = Counter()
    begun = time.perf_counter()
    with ProcessPoolExecutor(workers) as pool:
        for n, found in enumerate(pool.map(asked, range(first, first + tubs), [weeks] * tubs, [members] * tubs), 1):
            total += found
            minutes = (time.perf_counter() - begun) / 60.0
            print(f"\r{n} of {tubs} tubs, {minutes:.1f} min ", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    return total


def rows(total: Counter[str]) -> list[tuple[str, str]]:
    """What was counted and the result."""
    fit = sum(total[f"{kit}: fit"] for kit in _KITS)
    wrong = sum(total[f"{kit}: wrongly fit"] for kit in _KITS)
    found = [(f"verdicts with a {kit}", f"{total[f'{kit}: asked']} asked, {total[f'{kit}: fit']} fit") for kit in _KITS]
    found.append(("soaks when the water was not fit", str(total["soaks when the water was not fit"])))
    limit = f"{wrong} of {fit}: at most {upper_limit(wrong, fit):.2%} (95 %)"
    bare = sum(total[f"{kit}: wrongly fit by the sanitizer"] for kit in _KITS)
    return [*found, ("wrongly fit", limit), ("of these by the sanitizer, the others by the pH", str(bare))]


def run() -> list[tuple[str, str]]:
    """Rows of what was counted, on few tubs."""
    return rows(counted(6, 2, 300, os.cpu_count() or 1))


def main() -> None:
    """Prints the rows."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--tubs", type=int, default=40)
    ask.add_argument("--first", type=int, default=0, help="number of the first tub")
    ask.add_argument("--weeks", type=int, default=4)
    ask.add_argument("--members", type=int, default=500)
    ask.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    wanted = ask.parse_args()
    for what, result in rows(counted(wanted.tubs, wanted.weeks, wanted.members, wanted.workers, wanted.first)):
        print(f"{what}: {result}")


if __name__ == "__main__":
    main()
