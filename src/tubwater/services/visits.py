"""The visit beside one tub: begun, told step by step, planned anew where something differs, left, taken up, closed.

What is told is an entry; what went into the water is an entry of its own, kept together with it or not at all.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from types import MappingProxyType
from typing import Any

from tubwater.advice import Wishes
from tubwater.advice.again import plan_rest, why_again
from tubwater.advice.beside_tub import Ask, HandedOver, Phase, Running, Standing, Status, VisitEvent, What
from tubwater.advice.running import LONGEST_PAUSE, fill_a_wait, fresh_hours
from tubwater.errors import Conflict, InputError, UnknownEntry
from tubwater.services.advise import case_of
from tubwater.services.beside import events_of_visit, foreseen_plan, last_tests, running_of, visits_of
from tubwater.services.deeds import deeds_after, grams_of
from tubwater.services.keeping import MODEL, Keeping
from tubwater.services.ports import Kind, Source, Stored
from tubwater.tub import Plan, Step, StepKind
from tubwater.tub.data import as_data, from_data

__all__ = [
    "LONGEST_PAUSE",
    "Ask",
    "HandedOver",
    "Phase",
    "Running",
    "Standing",
    "Status",
    "Told",
    "Visits",
    "What",
    "fill_a_wait",
]

_ANSWERS = {What.DONE, What.OTHER_AMOUNT, What.NOT_IN_HAND, What.SKIPPED, What.NOT_SURE, What.RETEST}
_ADDS = (StepKind.DOSE, StepKind.SET_FEEDER)
_LONGEST_VISIT, _LONGEST_TOLD = 50, 70  # letters of a name, so that what is entered with it has room for its own
_NOTHING: Mapping[str, Any] = MappingProxyType({})


@dataclass(frozen=True)
class Told:
    """What somebody says beside the tub.

    Attributes:
        step: key of the step. at: when, aware; now where absent. amount: what went in, as the keeper writes it
            ("25 g"). measures: or a number of the product's own measures, for the feeder the tablets in it now.
        test, noticed: what was read and seen, as tables of a keeper's file. about: id of the entry that is undone.
        to: who takes over. case: the case of a packet that the phone went on by. saw: kind and product of the step as
            the phone showed it, so that nothing is told of another one.
    """

    what: What
    step: str = ""
    at: datetime | None = None
    amount: str = ""
    measures: float | None = None
    test: Mapping[str, Any] = field(default_factory=lambda: _NOTHING)
    noticed: Mapping[str, Any] = field(default_factory=lambda: _NOTHING)
    about: str = ""
    to: str = ""
    case: str = ""
    saw: Mapping[str, str] = field(default_factory=lambda: _NOTHING)


@dataclass(frozen=True)
class Visits:
    """The use cases of visits over those of the logbook."""

    keeping: Keeping

    def begin(self, tub: str, wishes: Wishes | None = None, source: Source | None = None, id: str = "") -> str:
        """A visit with a plan made now; its id. Saying it twice is harmless, and of two at once the second joins.

        Raises:
            Conflict: another visit of this tub is not finished; carries its id.
        """
        _short("id", id, _LONGEST_VISIT)
        known = visits_of(self.keeping.entries(tub))
        if id and id in known:
            return id
        current = self.current(tub)
        if current is not None:
            raise Conflict("visit", current)
        visit, said = id or self.keeping.names.fresh(), wishes or Wishes()
        if said.about is not None:  # what was done since then is not planned again
            said = replace(said, about=replace(said.about, since=self.keeping.clock.now()))
        plan = self.keeping.plan(tub, said)
        body = {"visit": visit, "what": What.BEGUN, "model": MODEL, "wishes": as_data(said), "plan": as_data(plan)}
        # Each visit of a tub has one place in its row, so that of two that begin at the same moment one is refused.
        try:
            self.keeping.note(tub, Kind.VISIT, body, source, f"{tub}-v{len(known) + 1}")
        except Conflict:
            if visit in visits_of(self.keeping.entries(tub)):
                return visit
            raise Conflict("visit", self.current(tub) or "") from None
        return visit

    def begun(self, tub: str, visit: str) -> VisitEvent:
        """Who began a visit, and when.

        Raises:
            UnknownEntry: there is no such visit.
        """
        events = events_of_visit(self.keeping.entries(tub), visit)
        if not events:
            raise UnknownEntry("visit", visit)
        return events[0]

    def current(self, tub: str, since: datetime | None = None) -> str | None:
        """The visit that is not finished, or None; with ``since`` only among those begun from then on."""
        entries, now = self.keeping.entries(tub), self.keeping.clock.now()
        for visit in reversed(visits_of(entries)):
            if since is not None and events_of_visit(entries, visit)[0].at < since:
                return None
            state = running_of(entries, visit, now)
            if state and state.phase in (Phase.RUNNING, Phase.LEFT):
                return visit
        return None

    def of(self, tub: str) -> tuple[str, ...]:
        """The ids of all visits of a tub, the newest last."""
        return visits_of(self.keeping.entries(tub))

    def show(self, tub: str, visit: str) -> Running:
        """Where a visit stands now; the rest is planned anew where an answer still asks for it.

        Raises:
            UnknownEntry: there is no such visit.
        """
        state = self._state(tub, visit)
        for _ in range(10):  # each answer that is owed a plan gets its own
            if state.owes is None or state.phase is Phase.CLOSED:
                break
            self._plan_again(tub, visit, state, state.owes)
            state = self._state(tub, visit)
        return state

    def rests_on(self, tub: str, step: Step) -> tuple[str, float, datetime | None]:
        """What a dose rests on: the quantity, for how many hours its test carries it, and when it was read last."""
        quantities, hours = fresh_hours(step)
        tested = last_tests(self.keeping.entries(tub))
        found = [(tested[q], str(q)) for q in quantities if str(q) in tested]
        at, name = max(found) if found else (None, str(quantities[0]))
        return name, hours, at

    def tell(self, tub: str, visit: str, told: Told, source: Source | None = None, id: str = "") -> Running:
        """Keeps what was said, with what it means for the water, and plans the rest anew where it has to.

        Raises:
            InputError: it cannot be meant. Conflict: somebody said something about this step before; carries the entry.
            UnknownEntry: there is no such visit.
        """
        _short("id", id, _LONGEST_TOLD)
        state, now = self._state(tub, visit), self.keeping.clock.now()
        name = id or self.keeping.names.fresh()
        if not self._known(tub, name):
            told = replace(told, at=_moment(told, state, now))
            self._check(state, told)
            self._keep(tub, visit, state, told, source, name)
        return self.show(tub, visit)

    def _state(self, tub: str, visit: str) -> Running:
        state = running_of(self.keeping.entries(tub), visit, self.keeping.clock.now())
        if state is None:
            raise UnknownEntry("visit", visit)
        return state

    def _known(self, tub: str, name: str) -> bool:
        return any(s.entry.id == name for s in self.keeping.entries(tub))

    def _check(self, state: Running, told: Told) -> None:
        """Whether it can be said now."""
        for name, text in _texts(told):
            if not text.isprintable():
                raise InputError.one(name, text, "a text without control characters")
        if state.phase is Phase.CLOSED and told.what in (What.LEFT, What.TAKEN_UP):
            raise Conflict("visit", state.last)
        if told.what in (What.BEGUN, What.REPLANNED):
            raise InputError.one("what", told.what.value, "something that was done or answered")
        if told.what is What.UNDONE:
            if not told.about or told.about != state.last:
                raise Conflict("step", state.last)
            return
        row = state.of(told.step) if told.step else None
        if row is not None and not _same_step(row, told.saw):
            raise Conflict("step", row.key)
        if told.what in _ANSWERS:
            _check_answer(state, row, told)
        elif told.what is What.ANSWERED and row is None:
            raise InputError.one("step", told.step, "the step that it is about")

    def _keep(self, tub: str, visit: str, state: Running, told: Told, source: Source | None, name: str) -> None:
        at = told.at or self.keeping.clock.now()
        row = state.of(told.step) if told.step else None
        entries = self.keeping.entries(tub)
        grams = _grams(entries, row, told, self.keeping.clock.now())
        body: dict[str, Any] = {"visit": visit, "what": told.what, "at": at.isoformat()}
        body |= {k: v for k, v in _texts(told) if v}
        body |= {"grams": grams} if told.what is What.OTHER_AMOUNT else {}
        parts = [(Kind.VISIT, name, body)]
        event = VisitEvent(name, told.what, at, step=told.step, grams=grams, about=told.about)
        parts += deeds_after(entries, visit, event, self.keeping.clock.now())
        for kind, table in ((Kind.TEST, told.test), (Kind.NOTICED, told.noticed)):
            if table:
                parts.append((kind, f"{name}-{kind}", {"at": at.isoformat(), **table}))
        self.keeping.record_all(tub, parts, source)

    def _plan_again(self, tub: str, visit: str, state: Running, after: VisitEvent) -> None:
        now = self.keeping.clock.now()
        foreseen = foreseen_plan(self.keeping.entries(tub), visit, after.id)
        if foreseen is not None:  # the phone went on by its packet: what it showed stands, from when it was said
            self._replanned(tub, visit, after, replace(foreseen, begins=after.at), after.at, state)
            return
        self._replanned(tub, visit, after, None, now, state)

    def _replanned(
        self, tub: str, visit: str, after: VisitEvent, plan: Plan | None, now: datetime, state: Running
    ) -> None:
        file = self.keeping.file(tub)
        waits = after.what is not What.NOT_SURE and state.due is not None
        when = max(state.due, now) if waits and state.due else now
        case = case_of(file.tub, file.shelf, file.events, when, checkpoints=self.keeping.snapshots)
        plan = plan or plan_rest(case, state, after, self.wishes(tub, visit), now)
        because = [as_data(reason) for reason in why_again(case, state, after)]
        body: dict[str, Any] = {"visit": visit, "what": What.REPLANNED, "about": after.id, "model": MODEL}
        body |= {"because": because, "plan": as_data(plan), "at": now.isoformat()}
        try:
            self.keeping.note(tub, Kind.VISIT, body, id=f"{after.id}-plan")
        except Conflict:
            return  # somebody else asked at the same moment; theirs stands

    def wishes(self, tub: str, visit: str) -> Wishes:
        """What was said of a visit when it began."""
        begun = next(s for s in self.keeping.entries(tub) if _begins(s, visit))
        return from_data(Wishes, begun.entry.body["wishes"])


def _short(field: str, name: str, most: int) -> None:
    if len(name) > most:
        raise InputError.one(field, f"{len(name)} letters", f"a name of at most {most} letters")


def _begins(stored: Stored, visit: str) -> bool:
    body = stored.entry.body
    return stored.entry.kind is Kind.VISIT and body["visit"] == visit and body["what"] == What.BEGUN


def _texts(told: Told) -> tuple[tuple[str, str], ...]:
    return (("step", told.step), ("about", told.about), ("to", told.to), ("case", told.case))


def _grams(entries: Sequence[Stored], row: Standing | None, told: Told, now: datetime) -> float:
    if told.what is not What.OTHER_AMOUNT:
        return 0.0
    return grams_of(entries, row, told.amount, told.measures, now)


def _moment(told: Told, state: Running, now: datetime) -> datetime:
    """When it happened: a phone's clock never puts it before the visit or after now."""
    row = state.of(told.step) if told.step else None
    again = told.at is None or (row is not None and row.status is Status.OTHER_AMOUNT)
    if told.what is What.OTHER_AMOUNT and again and row is not None and row.at is not None:
        return row.at  # a correction leaves the wait as it is
    return min(max(told.at or now, state.begun), now)


def _same_step(row: Standing, saw: Mapping[str, str]) -> bool:
    product = row.step.amount.product if row.step.amount else ""
    return saw.get("kind", row.step.kind) == row.step.kind and saw.get("product", product) == product


def _check_answer(state: Running, row: Standing | None, told: Told) -> None:
    if state.phase is Phase.CLOSED and told.what is not What.OTHER_AMOUNT and row is None:
        raise Conflict("visit", state.last)
    if row is None:
        if told.what is What.RETEST and not told.step:
            return
        raise InputError.one("step", told.step, "a step of this visit")
    if row.answered and told.what is not What.OTHER_AMOUNT:
        raise Conflict("step", row.entry)
    if row.step.kind is StepKind.WAIT:
        raise InputError.one("what", told.what.value, "patience: a wait ends by itself")
    if told.what is What.RETEST and not told.test:
        raise InputError.one("test", "nothing", "what was read")
    if told.what is What.DONE and row.step.kind is StepKind.TEST:
        raise InputError.one("what", told.what.value, "retest with what was read, or skipped")
    if told.what in (What.OTHER_AMOUNT, What.NOT_SURE, What.NOT_IN_HAND) and row.step.kind not in _ADDS:
        raise InputError.one("what", told.what.value, "done or skipped, since nothing is added here")
