"""A writer that is killed (SIGKILL, which is not a loss of power) has lost nothing that it acknowledged."""

from __future__ import annotations

import subprocess
import sys
from collections import Counter
from pathlib import Path

import pytest

from logbook.places import make_entry, minutes
from logbook.writer import AT_ONCE
from tubwater.logbook import open_logbook
from tubwater.services.storage import Fault

WRITER = Path(__file__).with_name("writer.py")
BURSTS = 250


@pytest.mark.parametrize("seed", [1, 2])  # 500 bursts in two files
def test_killed_at_random_moments_of_500_bursts_nothing_acknowledged_is_lost(tmp_path: Path, seed: int) -> None:
    place = tmp_path / "logbook.db"
    line = [sys.executable, str(WRITER), str(place), str(BURSTS), str(seed)]
    done = subprocess.run(line, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[-4000:]
    told = done.stdout.split()
    logbook = open_logbook(place)
    kept = Counter(s.entry.id.rpartition("-")[0] for s in logbook.entries.of("larch"))
    assert len({name.split("-")[0] for name in told}) > BURSTS // 2, "too few bursts came to write anything"
    assert set(told) <= set(kept)
    assert set(kept.values()) == {AT_ONCE}, "an append was kept in part"
    # What was kept beyond that is at most the one append of each burst that nobody could be told of any more.
    assert len(kept) - len(told) <= BURSTS
    assert {f.fault for f in logbook.check()} <= {Fault.MEANING}  # these entries describe no tub
    assert not logbook.entries.append([make_entry("after all")], minutes(0))[0].repeated
    logbook.close()
