"""Writes bursts of entries into one logbook and is killed in the midst of it, again and again.

    python writer.py PLACE BURSTS SEED

Each burst is a process of its own (a fork, so that it starts at once). It tells every burst that was acknowledged on
a pipe; the parent kills it (SIGKILL) after a random time, and prints all that was acknowledged, one name a line.
"""

from __future__ import annotations

import os
import random
import select
import signal
import sys
import time
from datetime import UTC, datetime

from tubwater.logbook import open_logbook
from tubwater.services.ports import Entry, Kind

__all__: list[str] = []

AT_ONCE = 3  # entries in one append: all or none
LONGEST = 0.008  # s, after the first acknowledgement


def write(place: str, burst: int, tell: int) -> None:
    """Appends until it is killed; each append is told after it was acknowledged."""
    logbook = open_logbook(place)
    now = datetime.now(UTC)
    for number in range(1_000_000):
        name = f"{burst}-{number}"
        entries = [Entry(f"{name}-{part}", "larch", Kind.SOAKED, now, {"people": part}) for part in range(AT_ONCE)]
        logbook.entries.append(entries, now)
        os.write(tell, f"{name}\n".encode())


def burst(place: str, number: int, chance: random.Random) -> bytes:
    """What one process got acknowledged before it was killed."""
    told, tell = os.pipe()
    child = os.fork()
    if not child:
        write(place, number, tell)
    os.close(tell)
    if chance.random() < 0.8:  # the others are killed while they open the file
        select.select([told], [], [], 30.0)
    time.sleep(chance.uniform(0.0, LONGEST))
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    with os.fdopen(told, "rb") as pipe:
        return pipe.read()


def main(place: str, bursts: int, seed: int) -> None:
    """All bursts."""
    open_logbook(f"{place}-warm").close()  # loads all that opening needs, so that a fork is quick
    chance = random.Random(seed)
    for number in range(bursts):
        sys.stdout.buffer.write(burst(place, number, chance))


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))
