"""What a visit notes of water that was let out and filled in."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from tubwater.advice import Wishes
from tubwater.services.keeping import MODEL, Keeping
from tubwater.services.memory import MemoryEntries, MemorySnapshots, RandomNames
from tubwater.services.ports import Kind
from tubwater.services.visits import Told, Visits, What
from tubwater.tub import Drained, Filled, Plan, Reason, Step, StepKind, Verdict, VerdictKind
from tubwater.tub.data import as_data

NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
TUB = {"tub": {"name": "Larch", "volume": "1300 L", "sanitizer": "bromine"}}
VERDICT = Verdict(VerdictKind.KEEP_OUT, NOW, NOW, 0, 0.0, 0.5, 0.9, (Reason("drain-not-visible"),))


class Clock:
    def now(self) -> datetime:
        return NOW


def filled_by(why: str, litres: float) -> tuple[list[float], int]:
    """Litres noted as drained, and how many fills, after a visit of one drain and one fill."""
    keeping = Keeping(MemoryEntries(), MemorySnapshots(), Clock(), RandomNames())
    tub, visits = keeping.add_tub(TUB), Visits(keeping)
    steps = (Step(StepKind.DRAIN, litres=litres, reasons=(Reason(why),)), Step(StepKind.FILL, litres=litres))
    plan = Plan(NOW, "in-use", VERDICT, steps, None, (), (), (), NOW + timedelta(days=1), None)
    body = {"visit": "v", "what": What.BEGUN, "model": MODEL, "wishes": as_data(Wishes()), "plan": as_data(plan)}
    keeping.note(tub, Kind.VISIT, body, id="v-begun")
    for key in ("0.0", "0.1"):
        visits.tell(tub, "v", Told(What.DONE, key))
    events = keeping.file(tub).events
    return [e.litres for e in events if isinstance(e, Drained)], sum(isinstance(e, Filled) for e in events)


@pytest.mark.parametrize(("why", "litres", "fills"), [("only-water-helps", 400.0, 0), ("slime-goes-out", 1300.0, 1)])
def test_only_a_whole_change_is_new_water(why: str, litres: float, fills: int) -> None:
    assert filled_by(why, litres) == ([litres], fills)
