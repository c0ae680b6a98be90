"""What a visit notes of water that was let out and filled in."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from tubwater.advice import Wishes
from tubwater.services.keeping import MODEL, Keeping
from tubwater.services.memory import MemoryEntries, MemorySnapshots, RandomNames
from tubwater.services.ports import Kind
from tubwater.services.visits import Told, Visits, What
from tubwater.tub import Cared, Drained, Event, Filled, Plan, Reason, Step, StepKind, Verdict, VerdictKind
from tubwater.tub.data import as_data

NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
TUB = {"tub": {"name": "Larch", "volume": "1300 L", "sanitizer": "bromine"}}
VERDICT = Verdict(VerdictKind.KEEP_OUT, NOW, NOW, 0, 0.0, 0.5, 0.9, (Reason("drain-not-visible"),))


class Clock:
    def now(self) -> datetime:
        return NOW


def events_after(*steps: Step) -> tuple[Event, ...]:
    """What the logbook says after a visit of these steps, each done."""
    keeping = Keeping(MemoryEntries(), MemorySnapshots(), Clock(), RandomNames())
    tub, visits = keeping.add_tub(TUB), Visits(keeping)
    plan = Plan(NOW, "in-use", VERDICT, steps, None, (), (), (), NOW + timedelta(days=1), None)
    body = {"visit": "v", "what": What.BEGUN, "model": MODEL, "wishes": as_data(Wishes()), "plan": as_data(plan)}
    keeping.note(tub, Kind.VISIT, body, id="v-begun")
    for number in range(len(steps)):
        visits.tell(tub, "v", Told(What.DONE, f"0.{number}"))
    return keeping.file(tub).events


@pytest.mark.parametrize(("partial", "litres", "fills"), [(True, 400.0, 0), (False, 1300.0, 1)])
def test_only_a_whole_change_is_new_water(partial: bool, litres: float, fills: int) -> None:
    events = events_after(Step(StepKind.DRAIN, litres=litres), Step(StepKind.FILL, litres=litres, partial=partial))
    assert [e.litres for e in events if isinstance(e, Drained)] == [litres]
    assert sum(isinstance(e, Filled) for e in events) == fills


def test_a_new_filter_of_a_procedure_is_a_cartridge_replaced() -> None:
    events = events_after(Step(StepKind.CHECK, minutes=10.0, task="new-filter"))
    assert [e.task for e in events if isinstance(e, Cared)] == ["replace-cartridge"]


def test_a_plan_that_changes_a_part_of_the_water_says_so_at_its_fill() -> None:
    keeping = Keeping(MemoryEntries(), MemorySnapshots(), Clock(), RandomNames())
    tub = keeping.add_tub(TUB)
    keeping.record(tub, Kind.TEST, {"method": "photometer", "bromine": 4.0, "pH": 7.6})
    keeping.record(tub, Kind.TEST, {"method": "drop-titration", "total_alkalinity": 290.0})
    water = [step for step in keeping.plan(tub).steps if step.kind in (StepKind.DRAIN, StepKind.FILL)]
    assert [(step.kind, step.partial) for step in water] == [(StepKind.DRAIN, False), (StepKind.FILL, True)]


def test_what_follows_the_heating_of_a_partial_change_may_wait_for_the_morning() -> None:
    keeping = Keeping(MemoryEntries(), MemorySnapshots(), Clock(), RandomNames())
    tub = keeping.add_tub(TUB)
    keeping.record(tub, Kind.TEST, {"method": "photometer", "bromine": 4.0, "pH": 7.6})
    keeping.record(tub, Kind.TEST, {"method": "drop-titration", "total_alkalinity": 290.0})
    there = [reason.kind for reason in keeping.plan(tub).notes if reason.kind.startswith("be-there")]
    assert there == ["be-there", "be-there-or-later"]
