"""Many writers at once, 20 on SQLite and 200 on PostgreSQL, lose nothing and keep nothing twice; who opens waits."""

from __future__ import annotations

import json
import sqlite3
import subprocess
import sys
import threading
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest

from logbook.crowd import OWN, SHARED
from tubwater.logbook import open_logbook
from tubwater.services.ports import Kind

CROWD = Path(__file__).with_name("crowd.py")


def start(place: str, first: int, writers: int, how: str) -> subprocess.Popen[str]:
    """A process of writers that waits for the word."""
    line = [sys.executable, str(CROWD), place, str(first), str(writers), how]
    return subprocess.Popen(line, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)


def together(place: str, processes: int, writers: int, how: str) -> list[tuple[str, bool]]:
    """What all writers of all processes got acknowledged."""
    crowd = [start(place, n * writers, writers, how) for n in range(processes)]
    for process in crowd:
        assert process.stdout is not None and process.stdout.readline() == "ready\n"
    for process in crowd:
        assert process.stdin is not None
        process.stdin.write("go\n")
        process.stdin.flush()
    told = [process.communicate()[0] for process in crowd]
    assert [process.returncode for process in crowd] == [0] * processes
    return [(name, repeated) for text in told for name, repeated in json.loads(text)]


@pytest.mark.parametrize(
    ("kind", "processes", "writers", "how"),
    # Each on SQLite with connections of its own; on PostgreSQL 50 share the pool of their process.
    [("sqlite", 4, 5, "apart"), ("postgresql", 4, 50, "pooled")],
)
def test_simultaneous_writers_lose_nothing_and_duplicate_nothing(
    kind: str, processes: int, writers: int, how: str, new_place: Callable[[str], str]
) -> None:
    place, everybody = new_place(kind), range(processes * writers)
    told = together(place, processes, writers, how)
    logbook = open_logbook(place)
    kept = [s.entry for s in logbook.entries.of("larch")]
    own = {f"own-{n}-{part}" for n in everybody for part in range(OWN)}
    shared = {f"shared-{n}" for n in range(SHARED)}
    shelf = {f"shelf-{n}" for n in everybody if n % 10 == 0}
    # Kept: everything, once. Acknowledged: everything to everybody, and each entry as new to exactly one.
    assert Counter(e.id for e in kept) == Counter(own | shared | shelf)
    assert Counter(name for name, _ in told) == Counter([*own, *shelf, *list(shared) * len(everybody)])
    assert Counter(name for name, repeated in told if not repeated) == Counter(own | shared | shelf)
    # The changes of the shelf are one chain: nobody overwrote what he had not seen.
    changes = [e for e in kept if e.kind is Kind.SHELF]
    assert [e.after for e in changes] == ["", *(e.id for e in changes[:-1])]
    logbook.close()


def test_two_that_open_a_new_place_at_once_both_get_it(place: str) -> None:
    found: list[object] = []

    def work() -> None:
        try:
            open_logbook(place, 60.0).close()
        except Exception as error:
            found.append(error)

    threads = [threading.Thread(target=work) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert found == []


def test_a_file_that_another_writes_while_its_log_is_made_is_waited_for(tmp_path: Path) -> None:
    place = tmp_path / "x.db"
    open_logbook(place).close()
    other = sqlite3.connect(place, isolation_level=None, check_same_thread=False)
    other.execute("PRAGMA journal_mode=delete")
    other.execute("BEGIN IMMEDIATE")
    timer = threading.Timer(0.3, lambda: other.execute("COMMIT"))
    timer.start()
    open_logbook(place, 60.0).close()
    timer.join()
    other.close()
