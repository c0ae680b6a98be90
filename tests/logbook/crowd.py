"""Many writers at once in one process; the test starts several of these.

    python crowd.py PLACE FIRST WRITERS APART

Each writer is a thread that keeps entries of its own, entries that every other writer keeps too, and (each tenth) one
change of the shelf from whatever stands. APART is "apart" if each has a logbook of its own, "pooled" if they share one.
Waits for a line on its input, so that all processes begin together; prints what was acknowledged as JSON.
"""

from __future__ import annotations

import json
import sys
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from datetime import UTC, datetime
from threading import Barrier

from tubwater.errors import Conflict
from tubwater.logbook import SqlLogbook, open_logbook
from tubwater.services.effective import newest
from tubwater.services.ports import Entry, Kind, Stored

__all__ = ["OWN", "SHARED"]

OWN, SHARED = 4, 10
NOW = datetime(2026, 11, 25, tzinfo=UTC)
BUSY_SECONDS = 300.0  # the test asks whether anything is lost, not how fast this machine is


def entry(name: str, kind: Kind = Kind.SOAKED, after: str = "") -> Entry:
    """An entry of the one tub."""
    return Entry(name, "larch", kind, NOW, {"name": name}, after=after)


def change_shelf(logbook: SqlLogbook, name: str) -> list[Stored]:
    """Looks what stands and changes it, until nobody was faster."""
    while True:
        found = newest(logbook.entries.of("larch"), Kind.SHELF)
        try:
            return logbook.entries.append([entry(name, Kind.SHELF, found.entry.id if found else "")], NOW)
        except Conflict:
            continue


def write(logbook: SqlLogbook, number: int, begin: Barrier) -> list[Stored]:
    """Everything that one writer got acknowledged."""
    begin.wait()
    told = []
    for part in range(OWN):
        told += logbook.entries.append([entry(f"own-{number}-{part}")], NOW)
    for part in range(SHARED):
        told += logbook.entries.append([entry(f"shared-{(number + part) % SHARED}")], NOW)
    return told + (change_shelf(logbook, f"shelf-{number}") if number % 10 == 0 else [])


def main(place: str, first: int, writers: int, apart: bool) -> None:
    """Runs them and prints [id, repeated] of each acknowledged entry."""
    with ExitStack() as stack:
        opened = [open_logbook(place, BUSY_SECONDS) for _ in range(writers if apart else 1)]
        for logbook in opened:
            stack.callback(logbook.close)
        print("ready", flush=True)
        sys.stdin.readline()
        begin = Barrier(writers)
        pool = stack.enter_context(ThreadPoolExecutor(writers))
        jobs = [pool.submit(write, opened[n % len(opened)], first + n, begin) for n in range(writers)]
        print(json.dumps([[s.entry.id, s.repeated] for job in jobs for s in job.result()]))


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]), sys.argv[4] == "apart")
