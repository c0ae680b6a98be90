"""What a phone takes along to a tub without a network: every step, and the plan of the rest for each foreseen case.

The cases are played through on a copy of the logbook by the very use cases that answer online, so that the phone needs
no model of its own. What was not foreseen has no answer: stop, keep out, plan anew when connected.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from itertools import product
from threading import Lock
from types import MappingProxyType
from typing import Any

from tubwater.advice.beside_tub import Phase, Running, Standing, What
from tubwater.errors import InputError
from tubwater.facts import methods
from tubwater.facts.quantity import Quantity
from tubwater.services.beside import events_of_visit
from tubwater.services.keeping import MODEL, Keeping
from tubwater.services.memory import MemoryEntries, RandomNames, SnapshotsAside
from tubwater.services.ports import Kind, Stored
from tubwater.services.visits import Told, Visits
from tubwater.tub import Plan, Reading, StepKind, Tested
from tubwater.tub.data import as_data, from_data

__all__ = ["FACTORS", "Axis", "Case", "Packet", "Table", "packet_of"]

FACTORS = (0.5, 1.5, 2.0)  # of the planned amount; none of it is the case of leaving it out
_AXES = {  # increments of a table where a method has no colours of its own (judgement)
    Quantity.BROMINE: (1.0, 2.0, 3.0, 4.0, 6.0, 10.0),
    Quantity.FREE_CHLORINE: (0.5, 1.0, 2.0, 3.0, 5.0, 10.0),
    Quantity.PH: (6.8, 7.2, 7.5, 7.8, 8.2),
}
_MOST_STEPS = 60
_ONE_AT_A_TIME = Lock()


@dataclass(frozen=True)
class Axis:
    """The readings of one quantity that a table foresees, rising."""

    quantity: Quantity
    values: tuple[float, ...]


@dataclass(frozen=True)
class Table:
    """What a test may read. ``step``: its key. ``method``: what it is tested with."""

    step: str
    method: str
    axes: tuple[Axis, ...]


@dataclass(frozen=True)
class Case:
    """One thing that may happen, and what is to be done then.

    Attributes:
        id: "<step>/<what>" with the factor or the readings. factor: times the planned amount.
        reads: what a test reads. plan: place in ``Packet.plans``.
    """

    id: str
    step: str
    what: What
    factor: float = 1.0
    reads: Mapping[Quantity, float] = field(default_factory=lambda: MappingProxyType({}))
    plan: int = 0


@dataclass(frozen=True)
class Packet:
    """Attributes:
    number: the first part of the keys of the steps of a case's plan. steps: the open ones of the running plan.
    """

    tub: str
    visit: str
    made: datetime
    number: int
    steps: tuple[Standing, ...]
    cases: tuple[Case, ...]
    tables: tuple[Table, ...]
    plans: tuple[Plan, ...]


def packet_of(keeping: Keeping, tub: str, visit: str) -> Packet:
    """The packet of a visit as it stands; computed once for each plan, and kept as something that was shown.

    Raises:
        UnknownEntry: no such visit.
    """
    with _ONE_AT_A_TIME:  # who asks meanwhile gets the one that is being made
        return _packet_of(keeping, tub, visit)


def _packet_of(keeping: Keeping, tub: str, visit: str) -> Packet:
    state = Visits(keeping).show(tub, visit)
    entries = keeping.entries(tub)
    number = sum(e.what in (What.BEGUN, What.REPLANNED) for e in events_of_visit(entries, visit))
    name = f"{visit}-packet-{number}"
    known = next((s for s in entries if s.entry.id == name), None)
    if known is not None:
        return from_data(Packet, known.entry.body["value"])
    made = _Foreseen(keeping, tub, visit, number).packet(state)
    keeping.note(tub, Kind.SHOWN, {"what": "packet", "model": MODEL, "value": as_data(made)}, id=name)
    return made


@dataclass
class _Then:
    """The clock of a copy."""

    time: datetime

    def now(self) -> datetime:
        """The time that the copy has come to."""
        return self.time


class _Foreseen:
    """Walks the planned steps on a copy of the logbook and branches off wherever something may differ."""

    def __init__(self, keeping: Keeping, tub: str, visit: str, number: int) -> None:
        self._entries, self._now = list(keeping.entries(tub)), keeping.clock.now()
        self._tub, self._visit, self._number = tub, visit, number
        self._events = keeping.file(tub).events
        self._snapshots = SnapshotsAside(keeping.snapshots)  # the past is the same in every case
        self._plans: list[Plan] = []
        self._cases: list[Case] = []
        self._tables: list[Table] = []

    def packet(self, state: Running) -> Packet:
        """Every case up to the first test."""
        open_steps = tuple(s for s in state.steps if not s.answered)
        if state.phase is Phase.RUNNING and state.asks is None:
            for copy, clock, row in self._walk():
                self._branch(copy, clock, row)
        return Packet(
            self._tub,
            self._visit,
            self._now,
            self._number,
            open_steps,
            tuple(self._cases),
            tuple(self._tables),
            tuple(self._plans),
        )

    def _walk(self) -> Iterator[tuple[Visits, _Then, Standing]]:
        """Each step in its turn on one copy, done as planned after it was branched off, up to the first test."""
        visits, clock = self._copy(self._entries, self._now)
        for _ in range(_MOST_STEPS):
            row = visits.show(self._tub, self._visit).turn
            if row is None:
                return
            if row.due is not None:
                clock.time = row.due
                continue
            yield visits, clock, row
            if row.step.kind is StepKind.TEST:
                return
            visits.tell(self._tub, self._visit, Told(What.DONE, row.key))
            clock.time += timedelta(minutes=row.step.minutes)

    def _branch(self, visits: Visits, clock: _Then, row: Standing) -> None:
        here = list(visits.keeping.entries(self._tub))
        if row.step.kind is StepKind.DOSE and row.step.amount:
            for factor in FACTORS:
                grams = f"{factor * row.step.amount.grams:g} g"
                self._case(here, clock, Case("", row.key, What.OTHER_AMOUNT, factor), amount=grams)
            self._case(here, clock, Case("", row.key, What.SKIPPED, 0.0))
            left_out = self._cases[-1]  # without the product it goes on in the same way
            name = f"{row.key}/{What.NOT_IN_HAND}/0"
            self._cases.append(replace(left_out, id=name, what=What.NOT_IN_HAND))
        elif row.step.kind is StepKind.TEST:
            self._table(here, clock, row)

    def _table(self, here: list[Stored], clock: _Then, row: Standing) -> None:
        method = self._method(row.step.quantities)
        axes = tuple(Axis(q, _readings(method, q)) for q in row.step.quantities)
        if not axes or not all(axis.values for axis in axes):
            return
        for values in product(*(axis.values for axis in axes)):
            reads = MappingProxyType({axis.quantity: v for axis, v in zip(axes, values, strict=True)})
            test = {"method": method} | {str(q).replace(" ", "_"): v for q, v in reads.items()}
            self._case(here, clock, Case("", row.key, What.RETEST, reads=reads), test=test)
        self._tables.append(Table(row.key, method, axes))

    def _method(self, quantities: tuple[Quantity, ...]) -> str:
        """What the first quantity was tested with last."""
        found: list[Reading] = [r for e in self._events if isinstance(e, Tested) for r in e.readings]
        used = [r.method for r in found if r.quantity in quantities[:1]]
        able = [m for m in reversed(used) if all(q in methods()[m].quantities for q in quantities)]
        return able[0] if able else "strip"

    def _case(self, here: list[Stored], clock: _Then, case: Case, **said: Any) -> None:
        """Plays one case through; what cannot be meant is left out, and is thus "stop"."""
        visits, _ = self._copy(here, clock.time)
        try:
            state = visits.tell(self._tub, self._visit, Told(case.what, case.step, **said))
        except InputError:
            return
        if state.plan not in self._plans:
            self._plans.append(state.plan)
        ends = ",".join(f"{v:g}" for v in case.reads.values()) or f"{case.factor:g}"
        place = self._plans.index(state.plan)
        name = f"{case.step}/{case.what}/{ends}"
        self._cases.append(Case(name, case.step, case.what, case.factor, case.reads, place))

    def _copy(self, entries: list[Stored], now: datetime) -> tuple[Visits, _Then]:
        store, clock = MemoryEntries(), _Then(now)
        for stored in entries:
            store.append([stored.entry], stored.recorded)
        return Visits(Keeping(store, self._snapshots, clock, RandomNames())), clock


def _readings(method: str, quantity: Quantity) -> tuple[float, ...]:
    row = methods()[method].quantities.get(quantity)
    if row is None:
        return ()
    return row.steps or tuple(v for v in _AXES.get(quantity, ()) if row.low <= v <= row.high)
