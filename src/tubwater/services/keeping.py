"""Keeping tubs: what a face can ask and tell about the tubs of a logbook. One verb each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from tubwater.advice import Situation, Wishes, judge, make_plan
from tubwater.errors import InputError, Problem, UnknownEntry
from tubwater.services.advise import WaterReport, case_of, water_of
from tubwater.services.beside import held_back
from tubwater.services.effective import Line, effective, newest, table_of
from tubwater.services.ports import HAPPENINGS, Clock, Entry, EntryStore, Kind, Names, SnapshotStore, Source, Stored
from tubwater.services.tubfile import TubFile, parse_table
from tubwater.tub import Plan, Reason, Verdict
from tubwater.tub.data import as_data

__all__ = ["MODEL", "Keeping", "Recorded"]

MODEL = "1"  # rises whenever the same entries may lead to another verdict or plan


@dataclass(frozen=True)
class Recorded:
    """What became of an entry: as it was kept, and unlikely values that somebody should look at again."""

    stored: Stored
    questions: tuple[Problem, ...] = ()


@dataclass(frozen=True)
class Keeping:
    """The use cases over a store. Everything shown is computed from the entries."""

    store: EntryStore
    snapshots: SnapshotStore
    clock: Clock
    names: Names

    def tubs(self) -> tuple[tuple[str, TubFile], ...]:
        """Every tub: its id and what its logbook says."""
        return tuple((tub, self.file(tub)) for tub in self.store.tubs())

    def file(self, tub: str) -> TubFile:
        """The logbook of a tub as a keeper's file.

        Raises:
            UnknownEntry: there is no such tub.
        """
        entries = self._entries(tub)
        return _read(entries, _reached(entries, self.clock.now()))

    def add_tub(self, body: Mapping[str, Any], source: Source | None = None, id: str = "") -> str:
        """A new tub from [tub], [contact], [[product]], [[offer]] and [[reagents]] of a keeper's file; its id.

        Raises:
            InputError: with every problem.
        """
        parse_table(body, self.clock.now())
        tub = id or self.names.fresh()
        described = {key: body[key] for key in ("tub", "units", "contact") if key in body}
        entries = [self._entry(tub, Kind.TUB, described, source, f"{tub}-tub")]
        shelf = {"product": [], **{key: body[key] for key in ("product", "offer", "reagents") if key in body}}
        entries.append(self._entry(tub, Kind.SHELF, shelf, source, f"{tub}-shelf"))
        self.store.append(entries, self.clock.now())
        return tub

    def describe(
        self, tub: str, kind: Kind, body: Mapping[str, Any], after: str, source: Source | None = None, id: str = ""
    ) -> Recorded:
        """The tub (``Kind.TUB``) or its shelf (``Kind.SHELF``) as a whole, changed from the entry ``after``.

        Raises:
            InputError, Conflict, UnknownEntry.
        """
        table = table_of(self._entries(tub)) | dict(body)
        questions = parse_table(table, self.clock.now()).questions
        return self._append(self._entry(tub, kind, body, source, id, after=after), questions)

    def newest(self, tub: str, kind: Kind) -> Stored | None:
        """The entry of a kind that stands last."""
        return newest(self._entries(tub), kind)

    def record(
        self, tub: str, kind: Kind, body: Mapping[str, Any], source: Source | None = None, id: str = ""
    ) -> Recorded:
        """Something that happened; ``body`` is the table of a keeper's file, "at" its time (now where absent).

        Raises:
            InputError: with every problem. UnknownEntry: no such tub. Conflict: the id is known with another content.
        """
        self._check(tub, kind, body)
        entry = self._entry(tub, kind, body, source, id, happened=self._happened(body))
        return self._append(entry)

    def correct(
        self, tub: str, entry: str, body: Mapping[str, Any], source: Source | None = None, id: str = ""
    ) -> Recorded:
        """What an earlier entry should have said."""
        line = self.line(tub, entry)
        self._check(tub, line.stored.entry.kind, body)
        happened = self._happened(body, line.happened)
        said = {"entry": entry, "body": dict(body)}
        return self._append(self._entry(tub, Kind.CORRECTED, said, source, id, happened=happened))

    def withdraw(self, tub: str, entry: str, why: str = "", source: Source | None = None, id: str = "") -> Recorded:
        """Strikes an entry out; it stays in the logbook, marked."""
        self.line(tub, entry)
        return self._append(self._entry(tub, Kind.WITHDRAWN, {"entry": entry, "why": why}, source, id))

    def history(self, tub: str) -> tuple[Line, ...]:
        """Everything that happened, in order, as it stands now."""
        return effective(self._entries(tub))

    def line(self, tub: str, entry: str) -> Line:
        """One happening.

        Raises:
            UnknownEntry: the logbook of this tub does not hold it.
        """
        found = next((x for x in self.history(tub) if x.stored.entry.id == entry), None)
        if found is None:
            raise UnknownEntry("entry", entry)
        return found

    def case(self, tub: str) -> Situation:
        """The situation of a tub now; a visit under way holds people back, and so does a clock that was set back."""
        entries, now = self._entries(tub), self.clock.now()
        at = _reached(entries, now)
        file = _read(entries, at)
        found = case_of(file.tub, file.shelf, file.events, at, checkpoints=self.snapshots)
        behind = Reason("clock-behind", {"time": at.isoformat(timespec="minutes")}) if at > now else None
        return replace(found, held=behind or held_back(entries, now))

    def verdict(self, tub: str) -> Verdict:
        """May people get in now?"""
        return judge(self.case(tub))

    def plan(self, tub: str, wishes: Wishes | None = None) -> Plan:
        """What to do now."""
        return make_plan(self.case(tub), wishes or Wishes())

    def water(self, tub: str) -> WaterReport:
        """What the water is believed to be."""
        return water_of(self.case(tub))

    def shown(self, tub: str, what: str, value: object, source: Source | None = None) -> Stored:
        """Keeps a verdict or plan as somebody saw it; it is never computed again."""
        body = {"what": what, "model": MODEL, "value": as_data(value)}
        return self._append(self._entry(tub, Kind.SHOWN, body, source)).stored

    def entries(self, tub: str) -> Sequence[Stored]:
        """Every entry of a tub as it was recorded."""
        return self._entries(tub)

    def note(self, tub: str, kind: Kind, body: Mapping[str, Any], source: Source | None = None, id: str = "") -> Stored:
        """Keeps an entry whose body a use case made itself (a visit's)."""
        self._entries(tub)
        return self._append(self._entry(tub, kind, body, source, id, happened=self._happened(body))).stored

    def record_all(
        self, tub: str, parts: Sequence[tuple[Kind, str, Mapping[str, Any]]], source: Source | None = None
    ) -> tuple[Stored, ...]:
        """Entries that belong together, each as (kind, id, body), all kept or none.

        Raises:
            InputError, Conflict, StoreUnavailable.
        """
        for kind, _, body in parts:
            if kind in HAPPENINGS:
                self._check(tub, kind, body)
        made = [self._entry(tub, k, b, source, i, happened=self._happened(b.get("body", b))) for k, i, b in parts]
        return tuple(self.store.append(made, self.clock.now()))

    def _entries(self, tub: str) -> list[Stored]:
        found = self.store.of(tub)
        if not found:
            raise UnknownEntry("tub", tub)
        return found

    def _check(self, tub: str, kind: Kind, body: Mapping[str, Any]) -> None:
        """The body beside the tub and its shelf alone, so that only its own problems are told."""
        entries = [s for s in self._entries(tub) if s.entry.kind in (Kind.TUB, Kind.SHELF)]
        parse_table(table_of(entries) | {str(kind): [dict(body)]}, self.clock.now())

    def _happened(self, body: Mapping[str, Any], default: datetime | None = None) -> datetime:
        at = body.get("at")
        if at is None:
            return default or self.clock.now()
        found = at if isinstance(at, datetime) else datetime.fromisoformat(str(at))
        if found.tzinfo is None:
            found = found.replace(tzinfo=self.clock.now().tzinfo)
        return found

    def _entry(
        self,
        tub: str,
        kind: Kind,
        body: Mapping[str, Any],
        source: Source | None,
        id: str = "",
        happened: datetime | None = None,
        after: str = "",
    ) -> Entry:
        plain = as_data(dict(body))
        return Entry(
            id or self.names.fresh(), tub, kind, happened or self.clock.now(), plain, source or Source(), after
        )

    def _append(self, entry: Entry, questions: Sequence[Problem] = ()) -> Recorded:
        if len(entry.id) > 100:
            raise InputError.one("id", f"{len(entry.id)} characters", "a name of at most 100 characters")
        return Recorded(self.store.append([entry], self.clock.now())[0], tuple(questions))


def _read(entries: Sequence[Stored], at: datetime) -> TubFile:
    return parse_table(table_of(entries), at)


def _reached(entries: Sequence[Stored], now: datetime) -> datetime:
    """Now, or when the newest entry happened: a clock that was set back loses nothing that was kept."""
    return max((line.happened for line in effective(entries) if line.stands and line.happened > now), default=now)
