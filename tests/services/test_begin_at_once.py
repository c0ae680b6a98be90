"""Two people begin a visit at the same tub at the same moment."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import Barrier
from typing import Any

import pytest

from tubwater.advice import Wishes
from tubwater.errors import Conflict
from tubwater.logbook import open_logbook
from tubwater.services.keeping import Keeping
from tubwater.services.memory import MemoryEntries, MemorySnapshots, RandomNames, SystemClock
from tubwater.services.ports import EntryStore, Source
from tubwater.services.visits import Told, Visits, What
from tubwater.tub import Plan

BODY: dict[str, Any] = {"tub": {"name": "Larch", "volume": "1300 L", "sanitizer": "bromine"}, "product": []}


class Together(Keeping):
    """Both have their plan before either keeps it: the worst moment."""

    def plan(self, tub: str, wishes: Wishes | None = None) -> Plan:
        found = super().plan(tub, wishes)
        _MEET.wait(300)
        return found


_MEET = Barrier(2)


def begun(store: EntryStore, ids: tuple[str, str] = ("", "")) -> tuple[Visits, list[str | Conflict]]:
    """What the two got: a visit, or the refusal with the visit that stands."""
    keeping = Together(store, MemorySnapshots(), SystemClock(), RandomNames())
    keeping.add_tub(BODY, id="larch")
    visits = Visits(keeping)

    def one(who: str, id: str) -> str | Conflict:
        try:
            return visits.begin("larch", source=Source(who), id=id)
        except Conflict as error:
            return error

    with ThreadPoolExecutor(2) as pool:
        return visits, list(pool.map(one, ("ash", "rowan"), ids))


def one_visit(visits: Visits, found: list[str | Conflict]) -> None:
    opened = [one for one in found if isinstance(one, str)]
    refused = [one for one in found if isinstance(one, Conflict)]
    assert len(opened) == len(refused) == 1
    assert visits.of("larch") == (opened[0],)
    assert refused[0].stands == opened[0] == visits.current("larch")
    assert visits.begun("larch", opened[0]).by in ("ash", "rowan")


def test_two_at_once_open_one_visit_and_the_second_is_led_to_it() -> None:
    one_visit(*begun(MemoryEntries()))


def test_so_it_is_in_a_stored_logbook(tmp_path: Path) -> None:
    logbook = open_logbook(str(tmp_path / "logbook.db"))
    try:
        one_visit(*begun(logbook.entries))
    finally:
        logbook.close()


def test_one_person_who_taps_twice_begins_once() -> None:
    visits, found = begun(MemoryEntries(), ("mine", "mine"))
    assert found == ["mine", "mine"]
    assert visits.of("larch") == ("mine",)


def test_the_next_visit_begins_after_the_last() -> None:
    visits = Visits(Keeping(MemoryEntries(), MemorySnapshots(), SystemClock(), RandomNames()))
    visits.keeping.add_tub(BODY, id="larch")
    first = visits.begin("larch")
    with pytest.raises(Conflict):
        visits.begin("larch")
    visits.tell("larch", first, Told(What.CLOSED))
    second = visits.begin("larch")
    assert visits.of("larch") == (first, second)
