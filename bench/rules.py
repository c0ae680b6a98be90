"""The rules that nothing may break, over many random logbooks: how often each was at stake, and how often broken.

Standalone: `python bench/rules.py --examples 100000` (answers, three to a logbook), `--seed`, `--workers`. The whole
takes hours: with `--into counts.jsonl` the counts of each seed are kept as they come, a run that is ended and begun
again goes on at the first seed that is not there, and what is printed is of all of them.
The answers come from the same generator and the same rules as the test of the check command.
"""

from __future__ import annotations

import argparse
import json
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


def counted(examples: int, seed: int, workers: int, into: Path | None = None) -> Counter[str]:
    """Counts over ``examples`` answers, shared among processes, with progress on standard error; interrupted, it
    counts what is there."""
    kept = _kept(into)
    total = sum(kept.values(), Counter[str]())
    seeds = [one for one in range(seed, seed + -(-examples // _BATCH)) if one not in kept]
    begun, pool = time.perf_counter(), ProcessPoolExecutor(workers)
    try:
        for n, (one, found) in enumerate(zip(seeds, pool.map(batch, seeds, [_BATCH] * len(seeds)), strict=True), 1):
            total += found
            _keep(into, one, found)
            minutes = (time.perf_counter() - begun) / 60.0
            left = minutes / n * (len(seeds) - n)
            say = f"\r{total['answers']:,} of {examples:,} answers, {minutes:.1f} min, {left:.0f} to go "
            print(say, end="", file=sys.stderr, flush=True)
    except KeyboardInterrupt:
        print("\ninterrupted", end="", file=sys.stderr)
    pool.shutdown(wait=False, cancel_futures=True)
    print(file=sys.stderr)
    return total


def _kept(into: Path | None) -> dict[int, Counter[str]]:
    """Counts that were kept, by seed."""
    lines = into.read_text().splitlines() if into and into.exists() else []
    return {line["seed"]: Counter(line["counts"]) for line in map(json.loads, lines)}


def _keep(into: Path | None, seed: int, found: Counter[str]) -> None:
    if into:
        with into.open("a") as file:
            file.write(json.dumps({"seed": seed, "counts": found}) + "\n")


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
    ask.add_argument("--into", type=Path, help="where the counts of each seed are kept, to go on another time")
    wanted = ask.parse_args()
    total = counted(wanted.examples, wanted.seed, wanted.workers, wanted.into)
    for name, count in sorted(total.items()):
        print(f"{count:>9,}  {name}")
    return int(any(name.startswith("BROKEN") for name in total))


if __name__ == "__main__":
    raise SystemExit(main())
