"""What a logbook says after its corrections: the newest description, the shelf, and every happening that stands."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from tubwater.services.ports import HAPPENINGS, Kind, Stored

__all__ = ["Line", "effective", "newest", "table_of"]


@dataclass(frozen=True)
class Line:
    """One happening of a logbook.

    Attributes:
        stored: as it was entered first. body: as it stands now. corrected_by, withdrawn_by: ids of entries, or "".
    """

    stored: Stored
    body: Mapping[str, Any]
    happened: datetime
    corrected_by: str = ""
    withdrawn_by: str = ""

    @property
    def stands(self) -> bool:
        """False once it was withdrawn."""
        return not self.withdrawn_by


def effective(entries: Sequence[Stored]) -> tuple[Line, ...]:
    """The happenings with what stands now, ordered by (happened, recorded, id); withdrawn ones are kept and marked."""
    lines = {s.entry.id: Line(s, s.entry.body, s.entry.happened) for s in entries if s.entry.kind in HAPPENINGS}
    for s in sorted(entries, key=lambda s: (s.recorded, s.entry.id)):
        about = str(s.entry.body.get("entry", ""))
        if s.entry.kind is Kind.CORRECTED and about in lines:
            lines[about] = _corrected(lines[about], s)
        elif s.entry.kind is Kind.WITHDRAWN and about in lines:
            lines[about] = replace(lines[about], withdrawn_by=s.entry.id)
    return tuple(sorted(lines.values(), key=lambda x: (x.happened, x.stored.recorded, x.stored.entry.id)))


def _corrected(line: Line, by: Stored) -> Line:
    return replace(line, body=by.entry.body["body"], happened=by.entry.happened, corrected_by=by.entry.id)


def newest(entries: Iterable[Stored], kind: Kind) -> Stored | None:
    """The last recorded entry of a kind."""
    found = [s for s in entries if s.entry.kind is kind]
    return found[-1] if found else None


def table_of(entries: Sequence[Stored]) -> dict[str, Any]:
    """The logbook in the form of a keeper's file."""
    table: dict[str, Any] = {}
    for kind in (Kind.TUB, Kind.SHELF):
        found = newest(entries, kind)
        table.update(found.entry.body if found else {})
    for line in effective(entries):
        if line.stands:
            body = {"at": line.happened.isoformat(), **line.body}
            table.setdefault(str(line.stored.entry.kind), []).append(body)
    signed = (s.entry for s in entries if s.entry.kind is Kind.SIGNED)
    if rows := [{"at": entry.happened.isoformat(), **entry.body} for entry in signed]:
        table[str(Kind.SIGNED)] = rows
    return table
