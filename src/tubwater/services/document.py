"""Everything that a logbook holds as one JSON document, and back; who may use it and passwords stay behind."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from tubwater.errors import InputError, Problem
from tubwater.services.effective import table_of
from tubwater.services.ports import Clock, Entry, EntryStore, Kind, Source, Stored
from tubwater.services.storage import Kit, KitStore
from tubwater.services.tubfile import parse_table
from tubwater.tub.data import as_data

__all__ = ["FORMAT", "VERSION", "read_document", "take_document", "to_document"]

FORMAT, VERSION = "tubwater logbook", 1
_MOST_PROBLEMS = 200
_NEEDS: Mapping[Kind, tuple[str, type]] = {
    Kind.TUB: ("tub", dict),
    Kind.SHELF: ("product", list),
    Kind.CORRECTED: ("body", dict),
    Kind.WITHDRAWN: ("entry", str),
    Kind.VISIT: ("visit", str),
    Kind.SIGNED: ("day", str),
}


def to_document(store: EntryStore, kits: KitStore, tubs: Sequence[str] = ()) -> dict[str, Any]:
    """The entries of some tubs, or of all, as they were recorded, and the test kits."""
    wanted = tubs or store.tubs()
    entries = [{"recorded": as_data(s.recorded), **as_data(s.entry)} for tub in wanted for s in store.of(tub)]
    mine = [as_data(replace(kit, account="")) for kit in kits.all() if not tubs or kit.tub in tubs]
    return {"format": FORMAT, "version": VERSION, "entries": entries, "kits": mine}


def read_document(document: object) -> tuple[list[Stored], list[Kit]]:
    """The entries and kits of a document.

    Raises:
        InputError: with every problem of it (the first two hundred).
    """
    if not isinstance(document, dict) or document.get("format") != FORMAT:
        raise InputError.one("document", "something else", f'a JSON document whose format is "{FORMAT}"')
    if document.get("version") != VERSION:
        raise InputError.one("version", document.get("version"), f"{VERSION}; a newer document needs a newer program")
    problems: list[Problem] = []
    entries = [_stored(_Fields(row, f"entries[{n}]", problems)) for n, row in enumerate(_rows(document, "entries"))]
    kits = [_kit(_Fields(row, f"kits[{n}]", problems)) for n, row in enumerate(_rows(document, "kits"))]
    if problems:
        raise InputError(problems[:_MOST_PROBLEMS])
    return [s for s in entries if s], [k for k in kits if k]


def take_document(document: object, store: EntryStore, kits: KitStore, clock: Clock) -> tuple[int, int]:
    """Takes in a document, all or nothing of its entries; how many were new, and how many known already.

    Raises:
        InputError: with every problem. Conflict: it and the logbook say different things. StoreUnavailable.
    """
    entries, found = read_document(document)
    _check_meaning(entries, store, clock.now())
    kept = store.take_in(entries)
    for kit in found:
        kits.keep(kit)
    known = sum(s.repeated for s in kept)
    return len(kept) - known, known


def _check_meaning(entries: Sequence[Stored], store: EntryStore, now: datetime) -> None:
    """Each tub has to read well with what is there and what comes, or it could not be shown any more."""
    problems: list[Problem] = []
    for tub in dict.fromkeys(s.entry.tub for s in entries):
        present = store.of(tub)
        ids = {s.entry.id for s in present}
        coming = [s for s in entries if s.entry.tub == tub and s.entry.id not in ids]
        try:
            parse_table(table_of([*present, *coming]), now)
        except InputError as error:
            problems += [Problem(f"tub {tub}: {p.field}", p.given, p.expected) for p in error.problems]
    if problems:
        raise InputError(problems[:_MOST_PROBLEMS])


class _Fields:
    """The fields of one object of the document, each with its type; what is wrong is noted."""

    def __init__(self, row: object, where: str, problems: list[Problem]) -> None:
        self._row = row if isinstance(row, dict) else {}
        self._where, self._problems, self._before = where, problems, len(problems)
        if not isinstance(row, dict):
            self.wrong("", row, "an object")

    @property
    def fine(self) -> bool:
        """Whether nothing was wrong so far."""
        return len(self._problems) == self._before

    def wrong(self, name: str, given: object, expected: str) -> None:
        """Notes a problem."""
        self._problems.append(Problem(f"{self._where}.{name}".rstrip("."), str(given)[:60], expected))

    def text(self, name: str, default: str | None = "") -> str:
        """A text."""
        value = self._row.get(name, default)
        if not isinstance(value, str):
            self.wrong(name, "nothing" if value is None else value, "a text")
            return ""
        return value

    def table(self, name: str) -> dict[str, Any]:
        """An object."""
        value = self._row.get(name, {})
        if not isinstance(value, dict):
            self.wrong(name, value, "an object")
            return {}
        return value

    def count(self, name: str) -> int | None:
        """A whole number, or none."""
        value = self._row.get(name)
        if value is not None and (isinstance(value, bool) or not isinstance(value, int)):
            self.wrong(name, value, "a whole number")
            return None
        return value

    def moment(self, name: str, needed: bool = False) -> datetime | None:
        """A time with its offset, or none."""
        value = self._row.get(name)
        if value is None and not needed:
            return None
        try:
            found = datetime.fromisoformat(value) if isinstance(value, str) else None
        except ValueError:
            found = None
        if found is None or found.utcoffset() is None:
            self.wrong(name, value, "a time with its offset, such as 2026-11-20T09:00:00+01:00")
            return None
        return found

    def inner(self, name: str) -> _Fields:
        """The fields of an object inside."""
        return _Fields(self.table(name), f"{self._where}.{name}", self._problems)


def _rows(document: Mapping[str, Any], name: str) -> list[Any]:
    rows = document.get(name, [])
    if not isinstance(rows, list):
        raise InputError.one(name, type(rows).__name__, "a list")
    return rows


def _stored(fields: _Fields) -> Stored | None:
    kind = _kind(fields)
    happened, recorded = fields.moment("happened", needed=True), fields.moment("recorded", needed=True)
    names = (fields.text("id", None), fields.text("tub", None))
    origin, body = fields.inner("source"), fields.table("body")
    source = Source(origin.text("actor"), origin.text("device"), origin.count("sequence"), origin.moment("sent"))
    after = fields.text("after")
    if kind is not None and kind in _NEEDS:
        _check_body(fields, kind, body)
    if not fields.fine or kind is None or happened is None or recorded is None:
        return None
    return Stored(Entry(*names, kind, happened, body, source, after), recorded)


def _check_body(fields: _Fields, kind: Kind, body: Mapping[str, Any]) -> None:
    name, form = _NEEDS[kind]
    if not isinstance(body.get(name), form):
        fields.wrong(f"body.{name}", body.get(name), f"what an entry of kind {kind} holds there")


def _kind(fields: _Fields) -> Kind | None:
    word = fields.text("kind", None)
    if word in list(Kind):
        return Kind(word)
    fields.wrong("kind", word, f"one of {', '.join(Kind)}")
    return None


def _kit(fields: _Fields) -> Kit | None:
    opened, spoils = fields.moment("opened"), fields.moment("spoils")
    names = (fields.text("id", None), fields.text("method", None), fields.text("name"), fields.text("tub"))
    kit = Kit(*names, opened=opened, spoils=spoils)
    return kit if fields.fine else None
