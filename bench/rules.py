"""The rules that nothing may break, over many random logbooks: how often each was at stake, and how often broken.

Standalone: `python bench/rules.py --examples 100000` (answers, three to a logbook), `--seed`, `--workers`; Ctrl-C ends
it with the counts so far, so that a long run can be gathered in parts, by seeds.
The answers come from the same generator and the same rules as the test of the check command.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):  # read when numpy is loaded
    os.environ.setdefault(_name, "1")
sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

__all__ = ["run"]

_BATCH = 150  # answers to a seed: hypothesis varies what it drew, so many seeds draw more widely than one long run
_FEW = 1500


def batch(seed: int, answers: int) -> Counter[str]:
    """Counts over so many answers from one seed: kinds of verdict, plan and step, rules at stake and broken."""
    from hypothesis import HealthCheck, Phase, given, settings
    from hypothesis import seed as seeded

    from advice.rules import RULES, answered
    from advice.strategies import ASKINGS, Drawn, cases

    counts: Counter[str] = Counter()

    @seeded(seed)
    @settings(
        max_examples=max(answers // ASKINGS, 1),
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(cases())
    def count(drawn: tuple[Drawn, ...]) -> None:
        for answer in answered(drawn):
            counts["answers"] += 1
            counts[f"verdict {answer.verdict.kind}"] += 1
            counts[f"plan {answer.plan.situation}"] += 1
            counts.update(f"step {step.kind}" for step in answer.plan.steps)
            for rule in RULES:
                try:
                    counts[f"at stake {rule.__name__}"] += rule(answer)
                except AssertionError:
                    counts[f"at stake {rule.__name__}"] += 1
                    counts[f"BROKEN {rule.__name__}"] += 1

    count()
    return counts


def counted(examples: int, seed: int, workers: int) -> Counter[str]:
    """Counts over ``examples`` answers, shared among processes, with progress on standard error; interrupted, it
    counts what is there."""
    total: Counter[str] = Counter()
    begun, batches = time.perf_counter(), -(-examples // _BATCH)
    pool = ProcessPoolExecutor(workers)
    try:
        for n, found in enumerate(pool.map(batch, range(seed, seed + batches), [_BATCH] * batches), 1):
            total += found
            minutes = (time.perf_counter() - begun) / 60.0
            left = minutes / n * (batches - n)
            say = f"\r{total['answers']:,} of {examples:,} answers, {minutes:.1f} min, {left:.0f} to go "
            print(say, end="", file=sys.stderr, flush=True)
    except KeyboardInterrupt:
        print("\ninterrupted", end="", file=sys.stderr)
    pool.shutdown(wait=False, cancel_futures=True)
    print(file=sys.stderr)
    return total


def run() -> list[tuple[str, str]]:
    """Rows of what was counted, on few answers."""
    total = counted(_FEW, 1, os.cpu_count() or 1)
    broken = sum(count for name, count in total.items() if name.startswith("BROKEN"))
    kinds = ", ".join(f"{count} {name[8:]}" for name, count in sorted(total.items()) if name.startswith("verdict"))
    return [("answers judged by every rule", f"{total['answers']:,}: {kinds}"), ("rules broken", f"{broken} times")]


def main() -> int:
    """Prints every count; 1 where a rule was broken."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--examples", type=int, default=100_000)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    wanted = ask.parse_args()
    total = counted(wanted.examples, wanted.seed, wanted.workers)
    for name, count in sorted(total.items()):
        print(f"{count:>9,}  {name}")
    return int(any(name.startswith("BROKEN") for name in total))


if __name__ == "__main__":
    raise SystemExit(main())
