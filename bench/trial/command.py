"""The trial's command line: tubs times policies through a process pool, a progress bar, the report, the charts.

The whole takes hours: with `--into results.jsonl` each life that ends is kept as it comes, and a run that is ended and
begun again with the same choices goes on with the lives that are not there.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import asdict
from pathlib import Path

from .bound import Bound
from .chart import drawn
from .keeping import Choices, Kept, Policy, keep, scene_of
from .policies import Guide, Ours
from .report import Result, report
from .score import Scored, score
from .told import Told

__all__ = ["POLICIES", "command", "short"]

POLICIES: dict[str, type[Policy]] = {"guide": Guide, "ours": Ours, "told": Told, "bound": Bound}
_USUAL = ("guide", "ours", "bound")
_Job = tuple[int, str, Choices]


def command(options: list[str]) -> int:
    """Run, print the report, write what was asked for."""
    asked = _parser().parse_args(options)
    if asked.tubs < 1 or asked.weeks < 1 or not 0.0 <= asked.after_soak <= 1.0:
        print("--tubs and --weeks take 1 or more, --after-soak a share from 0 to 1.", file=sys.stderr)
        return 2
    choices = _choices(asked)
    numbers = range(asked.first, asked.first + asked.tubs)
    results, lives = _lived([(n, p, choices) for n in numbers for p in asked.policy], asked.jobs, asked.into)
    print(report(results, choices))
    if asked.out is not None:
        _write(asked.out, results, lives, choices, asked.charts)
    return 0


def short() -> list[tuple[str, str]]:
    """Three tubs for three weeks by every policy, as rows of the table of benchmarks."""
    choices = Choices(weeks=3, members=300)
    results, _ = _lived([(n, p, choices) for n in range(3) for p in _USUAL], 2)
    rows = []
    for policy in _USUAL:
        shares = [r.scored.shares["all"]["in band"] for r in results if r.policy == policy]
        rows.append((f"hours in band, three tubs, three weeks, {policy}", f"{100.0 * sum(shares) / len(shares):.0f} %"))
    return rows


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="trial", description=__doc__)
    parser.add_argument("--tubs", type=int, default=4, help="hidden tubs")
    parser.add_argument("--first", type=int, default=0, help="number of the first tub")
    parser.add_argument("--weeks", type=int, default=6)
    parser.add_argument("--policy", nargs="+", choices=tuple(POLICIES), default=list(_USUAL))
    parser.add_argument("--test", choices=("strip", "kit"), default="strip", help="what is read at a visit")
    parser.add_argument("--visits", type=int, choices=(1, 2, 3), default=None, help="a week (kit: 2, strip: 1)")
    parser.add_argument("--after-soak", type=float, default=0.9, help="share of soaks whose dose is taken")
    parser.add_argument(
        "--entry",
        nargs="*",
        choices=("forecast", "strip", "kit"),
        default=[],
        help="ask for a verdict before each soak",
    )
    parser.add_argument(
        "--returns", type=float, default=0.0, help="share of the early looks a plan asks for that are made"
    )
    parser.add_argument("--feeder", action="store_true", help="note what is left of the tablets with each test")
    parser.add_argument("--looks", type=int, default=3, help="most of these looks between two visits")
    parser.add_argument("--cover", action="store_true", help="predict each reading before it is made")
    parser.add_argument("--members", type=int, default=500, help="of the belief")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--into", type=Path, default=None, help="file in which each life is kept as it comes")
    parser.add_argument("--out", type=Path, default=None, help="folder for results, logs and charts")
    parser.add_argument("--charts", type=int, default=3, help="tubs drawn and written out")
    return parser


def _choices(asked: argparse.Namespace) -> Choices:
    visits = asked.visits or (2 if asked.test == "kit" else 1)
    entry = tuple(asked.entry)
    return Choices(
        weeks=asked.weeks,
        kit=asked.test,
        visits=visits,
        after_soak=asked.after_soak,
        seed=asked.seed,
        members=asked.members,
        entry=entry,
        cover=asked.cover,
        returns=asked.returns,
        feeder=asked.feeder,
        looks=asked.looks,
    )


def _lived(
    jobs: list[_Job], workers: int, into: Path | None = None
) -> tuple[list[Result], dict[tuple[int, str], Kept]]:
    """Results of all jobs, in order, and the lives that were led now."""
    there = _kept(into, jobs[0][2])
    results, lives = [there[job[:2]] for job in jobs if job[:2] in there], {}
    for result, kept in _map([job for job in jobs if job[:2] not in there], workers):
        results.append(result)
        lives[result.tub, result.policy] = kept
        if into is not None:
            with into.open("a", encoding="utf-8") as file:
                print(json.dumps({"choices": asdict(jobs[0][2]), "result": result.data()}), file=file)
    results.sort(key=lambda r: (r.tub, list(POLICIES).index(r.policy)))
    return results, lives


def _kept(into: Path | None, choices: Choices) -> dict[tuple[int, str], Result]:
    """What earlier runs kept of lives by the same choices, by tub and policy."""
    if into is None or not into.exists():
        return {}
    asked = json.loads(json.dumps(asdict(choices)))
    rows = (json.loads(line) for line in into.read_text(encoding="utf-8").splitlines())
    results = (Result.of(row["result"]) for row in rows if row["choices"] == asked)
    return {(result.tub, result.policy): result for result in results}


def _map(jobs: list[_Job], workers: int) -> Iterator[tuple[Result, Kept]]:
    started = time.perf_counter()
    if workers < 2:
        for done, job in enumerate(jobs, 1):
            yield _one(job)
            _progress(done, len(jobs), started)
    else:
        with ProcessPoolExecutor(workers) as pool:
            futures = [pool.submit(_one, job) for job in jobs]
            for done, future in enumerate(as_completed(futures), 1):
                yield future.result()
                _progress(done, len(jobs), started)
    print(file=sys.stderr)


def _one(job: _Job) -> tuple[Result, Kept]:
    number, policy, choices = job
    started = time.perf_counter()
    kept = keep(scene_of(number, choices), POLICIES[policy](), choices)
    scored: Scored = score(kept, choices)
    return Result(number, policy, scored, time.perf_counter() - started), kept


def _progress(done: int, of: int, started: float) -> None:
    """One line that overwrites itself: how much is done and how long the rest may take."""
    spent = time.perf_counter() - started
    bar = "#" * round(30 * done / of)
    left = spent * (of - done) / done
    print(
        f"\r[{bar:<30}] {done}/{of} lives, {spent:.0f} s, some {left:.0f} s left ", end="", file=sys.stderr, flush=True
    )


def _write(
    folder: Path, results: list[Result], lives: dict[tuple[int, str], Kept], choices: Choices, charts: int
) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "report.md").write_text(report(results, choices), encoding="utf-8")
    (folder / "results.json").write_text(json.dumps([r.data() for r in results], indent=1), encoding="utf-8")
    for tub in sorted({tub for tub, _ in lives})[:charts]:
        mine = {policy: kept for (number, policy), kept in lives.items() if number == tub}
        (folder / f"tub-{tub}.svg").write_text(drawn(tub, mine, choices), encoding="utf-8")
        for policy, kept in mine.items():
            (folder / f"tub-{tub}-{policy}.log").write_text("\n".join(kept.log) + "\n", encoding="utf-8")
