"""The record of a tub in the logbook: who entered what and when, and the signing of a day."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, tzinfo
from typing import Any

from tubwater.errors import InputError, Problem
from tubwater.services.effective import Line, effective
from tubwater.services.entries import Entries
from tubwater.services.happenings import event_of, products_by_name
from tubwater.services.keeping import Keeping, Recorded
from tubwater.services.papers import paper_of
from tubwater.services.ports import Kind, Source, Stored
from tubwater.services.record import Noted, Record, record_of, windows_of
from tubwater.services.storage import KitStore
from tubwater.services.tubfile import TubFile
from tubwater.services.upkeep import kit_reagents
from tubwater.tub import Event, Paper

__all__ = ["record_of_tub", "sign_day"]

_Named = Callable[[str, str], str]


def record_of_tub(
    keeping: Keeping,
    kits: KitStore,
    tub: str,
    first: date | None = None,
    last: date | None = None,
    zone: tzinfo | None = None,
    called: _Named = lambda actor, device: "",
) -> Record:
    """The record of a tub from ``first`` to ``last``; see ``record_of``.

    Args:
        zone: where the tub is. called: the name of an account and a device.

    Raises:
        UnknownEntry: no such tub. InputError: days that cannot be meant.
    """
    entries, file, now = keeping.entries(tub), keeping.file(tub), keeping.clock.now()
    noted = tuple(_Reader(file, entries, now, zone, called).all())
    since = min(stored.entry.happened for stored in entries)
    windows = windows_of(file, lambda: keeping.case(tub))
    return record_of(file, noted, now, first, last, zone, kit_reagents(kits, tub), since, windows)


def sign_day(
    keeping: Keeping,
    tub: str,
    body: Mapping[str, Any],
    source: Source | None = None,
    id: str = "",
    zone: tzinfo | None = None,
) -> Recorded:
    """Signs the sheet of a day, for good: a later entry shows as later, and a second signature stands beside the first.

    Args:
        body: the table [[signed]] of a keeper's file without its time, which is now. id: saying it twice is harmless.

    Raises:
        InputError: no name, or a day that is to come or before the logbook begins. UnknownEntry: no such tub.
    """
    entries, now = keeping.entries(tub), keeping.clock.now()
    known = next((s for s in entries if s.entry.id == id), None) if id else None
    at = known.entry.happened if known else now
    said = {key: value for key, value in body.items() if key != "at"}
    _check_day(said.get("day"), entries, now, zone)
    return keeping.record(tub, Kind.SIGNED, {**said, "at": at.isoformat()}, source, id)


def _check_day(day: object, entries: Sequence[Stored], now: datetime, zone: tzinfo | None) -> None:
    """Between the first entry and today, where the tub is; what is no day at all is told by its reader."""
    try:
        found = date.fromisoformat(str(day))
    except ValueError:
        return
    today = now.astimezone(zone).date()
    began = min(s.entry.happened for s in entries).astimezone(zone).date()
    if not began <= found <= today:
        raise InputError.one("day", str(day), f"a day from {began} to {today}")


@dataclass(frozen=True)
class _Reader:
    """Turns entries into lines of the record."""

    file: TubFile
    entries: Sequence[Stored]
    now: datetime
    zone: tzinfo | None
    called: _Named

    def all(self) -> Iterator[Noted]:
        """Each happening as it stands, withdrawn ones marked, and each signature."""
        changes = {s.entry.id: s.recorded for s in self.entries}
        for line in effective(self.entries):
            said = self._said(line.stored.entry.kind, line.body, line.happened)
            if said is not None:
                yield self._noted(line, said, changes.get(line.withdrawn_by or line.corrected_by))
        for stored in (s for s in self.entries if s.entry.kind is Kind.SIGNED):
            signed = self._said(Kind.SIGNED, stored.entry.body, stored.entry.happened)
            if signed is not None:
                yield Noted(stored.entry.happened, signed, self._by(stored), stored.recorded)

    def _noted(self, line: Line, said: Event | Paper, changed: datetime | None) -> Noted:
        stored, entry = line.stored, line.stored.entry
        first = self._said(entry.kind, entry.body, entry.happened) if line.corrected_by else None
        late = stored.recorded.astimezone(self.zone).date() > line.happened.astimezone(self.zone).date()
        by = self._by(stored)
        return Noted(line.happened, said, by, stored.recorded, late, first, not line.stands, changed)

    def _by(self, stored: Stored) -> str:
        return self.called(stored.entry.source.actor, stored.entry.source.device)

    def _said(self, kind: Kind, body: Mapping[str, Any], at: datetime) -> Event | Paper | None:
        """What an entry says; None where it says nothing that can be read, such as one that was withdrawn as wrong."""
        problems: list[Problem] = []
        table = Entries({"at": at.isoformat(), **body}, str(kind), problems, max(self.now, at))
        found = event_of(str(kind), table, products_by_name(self.file.shelf)) or paper_of(str(kind), table)
        return None if problems else found
