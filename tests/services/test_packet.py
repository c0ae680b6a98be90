"""What a phone takes along: the same answers as online, and none where nothing was foreseen."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any
from unittest.mock import patch

import pytest

from tubwater.belief import belief
from tubwater.errors import Conflict
from tubwater.services.keeping import Keeping
from tubwater.services.memory import MemoryEntries, MemorySnapshots, RandomNames
from tubwater.services.packet import FACTORS, Packet, packet_of
from tubwater.services.ports import Kind
from tubwater.services.visits import Running, Told, Visits, What
from tubwater.tub import Plan, Quantity, StepKind
from tubwater.tub.data import as_data, from_data

NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
BODY: dict[str, Any] = {
    "tub": {"name": "Larch", "volume": "1300 L", "sanitizer": "bromine"},
    "product": [
        {"name": "oxidizer", "substance": "potassium monopersulfate", "strength": "43 %", "scoop": "20 g"},
        {"name": "dry acid", "substance": "sodium bisulfate", "strength": "93 %", "spoon": "15 g"},
        {"name": "bicarbonate", "substance": "sodium bicarbonate", "strength": "99 %", "scoop": "30 g"},
    ],
}


class Clock:
    def __init__(self) -> None:
        self.time = NOW

    def now(self) -> datetime:
        return self.time


class Scene:
    """A visit with acid, a test of it, and the oxidizer, and its packet."""

    def __init__(self) -> None:
        self.clock = Clock()
        self.keeping = Keeping(MemoryEntries(), MemorySnapshots(), self.clock, RandomNames())
        self.tub = self.keeping.add_tub(BODY)
        self.keeping.record(self.tub, Kind.TEST, {"method": "strip", "bromine": 3, "pH": 8.4, "total_alkalinity": 120})
        self.keeping.record(self.tub, Kind.NOTICED, {"clarity": "clear"})
        self.clock.time += timedelta(minutes=5)
        self.visits = Visits(self.keeping)
        self.visit = self.visits.begin(self.tub)
        with patch.object(belief, "following", wraps=belief.following) as lived:
            self.packet = packet_of(self.keeping, self.tub, self.visit)
        self.heard = lived.call_count
        self.entries = list(self.keeping.entries(self.tub))

    def again(self) -> Scene:
        """The same scene from the packet on, untouched by other tests."""
        copy = object.__new__(Scene)
        copy.clock, store = Clock(), MemoryEntries()
        copy.clock.time = NOW + timedelta(minutes=5)
        for stored in self.entries:
            store.append([stored.entry], stored.recorded)
        copy.keeping = Keeping(store, MemorySnapshots(), copy.clock, RandomNames())
        copy.visits = Visits(copy.keeping)
        copy.tub, copy.visit, copy.packet = self.tub, self.visit, self.packet
        return copy

    def until(self, kind: StepKind) -> Running:
        state = self.visits.show(self.tub, self.visit)
        while state.turn is not None and state.turn.step.kind is not kind:
            if state.due is not None:
                self.clock.time = state.due
            else:
                self.visits.tell(self.tub, self.visit, Told(What.DONE, state.turn.key))
                self.clock.time += timedelta(minutes=state.turn.step.minutes)
            state = self.visits.show(self.tub, self.visit)
        return state


@pytest.fixture(scope="module")
def first() -> Scene:
    return Scene()


@pytest.fixture
def scene(first: Scene) -> Iterator[Scene]:
    yield first.again()


def plan_of(packet: Packet, case: str) -> Plan:
    return packet.plans[next(c.plan for c in packet.cases if c.id == case)]


def outline(steps: Any) -> list[tuple[str, float]]:
    return [(str(s.kind), s.amount.grams if s.amount else s.minutes) for s in steps]


def acid(packet: Packet) -> str:
    return next(s.key for s in packet.steps if s.step.kind is StepKind.DOSE)


def test_each_dose_up_to_the_first_test_has_its_cases_and_the_test_its_table(first: Scene) -> None:
    packet, dosed = first.packet, acid(first.packet)
    amounts = {c.factor for c in packet.cases if c.step == dosed and c.what is What.OTHER_AMOUNT}
    others = {c.what for c in packet.cases if c.step == dosed} - {What.OTHER_AMOUNT}
    assert (amounts, others) == (set(FACTORS), {What.SKIPPED, What.NOT_IN_HAND})
    (table,) = packet.tables
    rows = [c.reads[Quantity.PH] for c in packet.cases if c.what is What.RETEST]
    assert (table.method, tuple(rows)) == ("strip", table.axes[0].values)


def test_a_packet_is_computed_once_for_each_plan_and_goes_through_plain_data(first: Scene) -> None:
    assert packet_of(first.keeping, first.tub, first.visit) == first.packet
    assert from_data(Packet, as_data(first.packet)) == first.packet


def test_no_case_hears_the_past_again(first: Scene) -> None:
    tested = [c for c in first.packet.cases if c.what is What.RETEST]
    assert first.heard == len(tested) > 0


def test_what_the_packet_says_is_what_is_answered_online(scene: Scene) -> None:
    state = scene.until(StepKind.DOSE)
    assert state.turn is not None and state.turn.step.amount is not None
    grams = f"{1.5 * state.turn.step.amount.grams:g} g"
    state = scene.visits.tell(scene.tub, scene.visit, Told(What.OTHER_AMOUNT, state.turn.key, amount=grams))
    foreseen = plan_of(scene.packet, f"{acid(scene.packet)}/other amount/1.5")
    anew = [s.step for s in state.steps if s.key.startswith(f"{scene.packet.number}.")]
    assert outline(foreseen.steps) == outline(anew)


def test_no_case_adds_acid_after_a_low_reading(first: Scene) -> None:
    low = [c for c in first.packet.cases if c.what is What.RETEST and c.reads[Quantity.PH] < 7.2]
    added = [s.amount.product for c in low for s in first.packet.plans[c.plan].steps if s.amount]
    assert low and "dry acid" not in added


def test_no_case_brings_back_what_is_not_in_hand(first: Scene) -> None:
    plan = plan_of(first.packet, f"{acid(first.packet)}/not in hand/0")
    assert "dry acid" not in [s.amount.product for s in plan.steps if s.amount]


def test_what_was_done_by_a_case_is_kept_under_the_plan_that_the_phone_showed(scene: Scene) -> None:
    state = scene.until(StepKind.DOSE)
    assert state.turn is not None and state.turn.step.amount is not None
    case, at = f"{state.turn.key}/other amount/2", scene.clock.time
    amount = f"{1.8 * state.turn.step.amount.grams:g} g"
    scene.clock.time += timedelta(hours=1)  # the phone comes back into the network later
    state = scene.visits.tell(
        scene.tub, scene.visit, Told(What.OTHER_AMOUNT, state.turn.key, at=at, amount=amount, case=case)
    )
    shown = plan_of(scene.packet, case)
    fresh = [s for s in state.steps if s.key.startswith(f"{scene.packet.number}.")]
    assert outline(s.step for s in fresh) == outline(shown.steps)
    assert fresh[0].since == at


def test_nothing_is_told_of_another_step_than_the_phone_showed(scene: Scene) -> None:
    state = scene.until(StepKind.DOSE)
    assert state.turn is not None
    with pytest.raises(Conflict):
        saw = {"kind": "dose", "product": "oxidizer"}
        scene.visits.tell(scene.tub, scene.visit, Told(What.DONE, state.turn.key, saw=saw))
