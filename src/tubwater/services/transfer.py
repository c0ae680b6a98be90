"""Taking a logbook out and in: happenings as a table for spreadsheets, and everything as one JSON document.

Nothing is written before every problem of every row was told.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Any
from uuid import UUID, uuid5

from tubwater.errors import InputError, Problem, UnknownEntry
from tubwater.services.columns import COLUMNS, LEADING, PARTS, Cell, Formula, Sheet, cell_of, heading_of, value_of
from tubwater.services.effective import Line, effective, table_of
from tubwater.services.memory import check_text
from tubwater.services.ports import HAPPENINGS, Clock, Entry, EntryStore, Kind, Source, Stored
from tubwater.services.tubfile import parse_table

__all__ = ["Preview", "RowProblem", "Transfer", "template"]

_SPACE = UUID("5b1b4f5c-6f0a-4b0e-9d3c-4c1f0b9e7a21")  # names of rows that bring none of their own
_FIELD = re.compile(r"(\w+)\[(\d+)\](?:\.(\w+))?")
_EXAMPLES: tuple[Mapping[str, Cell], ...] = (  # of a day on which nobody kept this logbook
    {"what": "test", "at": "2000-01-01 09:00", "method": "strip", "scale": "as Br2", "bromine": "1 to 2", "pH": 7.8},
    {"what": "dosed", "at": "2000-01-01 09:20", "product": "oxidizer", "amount": "15 g"},
    {"what": "soaked", "at": "2000-01-01 20:00", "people": 2, "lasted": "30 min"},
)


@dataclass(frozen=True)
class RowProblem:
    """What is wrong in one row (counted as spreadsheets do, the headings are row 1); column "" is the whole row."""

    row: int
    column: str
    given: str
    expected: str


@dataclass(frozen=True)
class Preview:
    """What an import would do: ``new`` entries, rows that are ``known`` already, and every problem."""

    new: tuple[Entry, ...]
    known: int
    problems: tuple[RowProblem, ...]


@dataclass(frozen=True)
class _Row:
    number: int
    kind: Kind
    happened: datetime | None  # None where it could not be read
    id: str
    body: Mapping[str, Any]


def template() -> Sheet:
    """An empty table with one row of each usual kind as an example."""
    return [list(COLUMNS), *([row.get(name) for name in COLUMNS] for row in _EXAMPLES)]


@dataclass(frozen=True)
class Transfer:
    """The use cases over a store."""

    store: EntryStore
    clock: Clock

    def table(self, tub: str) -> Sheet:
        """Every happening that stands, as a table that can be taken in again.

        Raises:
            UnknownEntry: there is no such tub.
        """
        lines = [line for line in effective(self._entries(tub)) if line.stands]
        rows: list[list[Cell]] = []
        for line in lines:
            lead = (str(line.stored.entry.kind), line.happened.isoformat(), line.stored.entry.id)
            rows.append([*lead, *(cell_of(line.body.get(name)) for name in COLUMNS[len(LEADING) :])])
        return [list(COLUMNS), *rows]

    def preview(self, tub: str, sheet: Sheet, source: Source | None = None, zone: tzinfo | None = None) -> Preview:
        """What taking in a table would do. Times without an offset are in ``zone``, None for that of this machine.

        Raises:
            UnknownEntry: there is no such tub.
        """
        present = self._entries(tub)
        problems: list[RowProblem] = []
        readable = [row for row in _rows(sheet, zone, problems) if row]
        problems += self._meaning(present, readable)
        problems += _left_over(readable, zone)
        rows = [(row, row.happened) for row in readable if row.happened]
        for row in (row for row in readable if not row.happened):
            problems += _unkeepable(row, Entry(row.id or "-", tub, row.kind, self.clock.now(), row.body, Source()))
        known = {s.entry.id: None for s in present} | {x.stored.entry.id: _said(x) for x in effective(present)}
        new: list[Entry] = []
        for (row, happened), id in zip(rows, _ids(tub, rows), strict=True):
            says = (row.kind, happened, row.body)
            if id not in known:
                new.append(Entry(id, tub, row.kind, happened, row.body, source or Source()))
                problems += _unkeepable(row, new[-1])
                known[id] = says
            elif known[id] != says:
                problems.append(
                    RowProblem(row.number, "id", id, "another id: the entry of this one says something else")
                )
        return Preview(tuple(new), len(rows) - len(new), _in_order(problems))

    def take(self, preview: Preview) -> int:
        """Keeps all that a preview found new; how many there were.

        Raises:
            InputError: it found problems. Conflict, StoreUnavailable: nothing was kept.
        """
        if preview.problems:
            raise InputError(Problem(f"row {p.row}, {p.column}", p.given, p.expected) for p in preview.problems)
        return sum(not s.repeated for s in self.store.append(preview.new, self.clock.now()))

    def _meaning(self, present: Sequence[Stored], rows: Sequence[_Row]) -> list[RowProblem]:
        """What the reader of a keeper's file says of the rows, beside this tub and its shelf.

        A row whose time could not be read is looked at as if it were of now, so that all else of it is told as well.
        """
        now = self.clock.now()
        described = [s for s in present if s.entry.kind in (Kind.TUB, Kind.SHELF)]
        table = table_of(described)
        for row in rows:
            table.setdefault(str(row.kind), []).append({"at": (row.happened or now).isoformat(), **row.body})
        try:
            parse_table(table, now)
        except InputError as error:
            return [_in_row(problem, rows) for problem in error.problems]
        return []

    def _entries(self, tub: str) -> list[Stored]:
        found = self.store.of(tub)
        if not found:
            raise UnknownEntry("tub", tub)
        return found


def _rows(sheet: Sheet, zone: tzinfo | None, problems: list[RowProblem]) -> list[_Row | None]:
    if not sheet:
        problems.append(RowProblem(1, "", "an empty table", f"headings such as {', '.join(COLUMNS[:6])}"))
        return []
    names = [heading_of(cell) for cell in sheet[0]]
    for cell, name in zip(sheet[0], names, strict=True):
        if name is None and cell not in (None, ""):
            problems.append(RowProblem(1, str(cell), "an unknown heading", f"one of {', '.join(COLUMNS)}"))
    for name, count in Counter(name for name in names if name).items():
        if count > 1:
            problems.append(RowProblem(1, name, "the same heading twice", "each heading once"))
    problems += [RowProblem(1, n, "no such heading", f"a column {n}") for n in ("what", "at") if n not in names]
    return [_row(number, names, cells, zone, problems) for number, cells in enumerate(sheet[1:], 2)]


def _row(
    number: int, names: Sequence[str | None], cells: Sequence[Cell], zone: tzinfo | None, problems: list[RowProblem]
) -> _Row | None:
    """One row; None where it is empty, or says not what it is about."""
    found = {n: c for n, c in zip(names, cells, strict=False) if n and c is not None and str(c).strip()}
    if len(cells) > len(names) and any(cell not in (None, "") for cell in cells[len(names) :]):
        problems.append(RowProblem(number, "", "more cells than headings", "one heading above each cell"))
    if not found:
        return None
    told: list[RowProblem] = []
    kind = _kind(number, found.pop("what", None), told)
    happened = _time(number, found.pop("at", None), zone, told)
    id = str(found.pop("id", "")).strip()
    body = _body(number, kind, found, told) if kind else {}
    problems += told
    return _Row(number, kind, happened, id, body) if kind else None


def _kind(number: int, cell: Cell, problems: list[RowProblem]) -> Kind | None:
    word = str(cell or "").strip().casefold()
    if word in [str(kind) for kind in HAPPENINGS]:
        return Kind(word)
    expected = f"one of {', '.join(HAPPENINGS)}"
    problems.append(RowProblem(number, "what", str(cell) if cell else "nothing", expected))
    return None


def _time(number: int, cell: Cell, zone: tzinfo | None, problems: list[RowProblem]) -> datetime | None:
    found: datetime | None = None
    if isinstance(cell, datetime):
        found = cell
    elif isinstance(cell, str) and not isinstance(cell, Formula) and len(cell.strip()) > 10:
        try:
            found = datetime.fromisoformat(cell.strip())
        except ValueError:
            found = None
    if found is None:
        expected = "a day and time, year first, such as 2026-11-20 09:00"
        problems.append(RowProblem(number, "at", str(cell) if cell else "nothing", expected))
        return None
    if found.tzinfo is not None:
        return found
    return found.replace(tzinfo=zone) if zone else found.astimezone()


def _body(number: int, kind: Kind, cells: Mapping[str, Cell], problems: list[RowProblem]) -> dict[str, Any]:
    body: dict[str, Any] = {}
    for name, cell in cells.items():
        form = PARTS[kind].get(name)
        if form is None:
            expected = f"an empty cell: a row of {kind} takes {', '.join(PARTS[kind])}"
            problems.append(RowProblem(number, name, str(cell), expected))
            continue
        try:
            body[name] = value_of(form, cell)
        except InputError as error:
            problems += [RowProblem(number, name, p.given, p.expected) for p in error.problems]
    return body


def _in_row(problem: Problem, rows: Sequence[_Row]) -> RowProblem:
    """A problem of the keeper's file, told where the cell stands."""
    place = _FIELD.match(problem.field)
    if place is None:
        return RowProblem(1, problem.field, problem.given, problem.expected)
    row = [row for row in rows if row.kind == place[1]][int(place[2]) - 1]
    return RowProblem(row.number, place[3] or "", problem.given, problem.expected)


def _said(line: Line) -> tuple[Kind, datetime, Mapping[str, Any]]:
    """What an entry says as it stands now, in the form in which a row would say it."""
    kind = line.stored.entry.kind
    cells = {name: cell_of(value) for name, value in line.body.items() if name in PARTS[kind]}
    body = {name: value_of(PARTS[kind][name], cell) for name, cell in cells.items() if cell not in (None, "")}
    return kind, line.happened, body


def _in_order(problems: Sequence[RowProblem]) -> tuple[RowProblem, ...]:
    """By row; of one cell only the first, since what could not be read is missing as well."""
    first: dict[tuple[int, str, str], RowProblem] = {}
    for problem in problems:
        first.setdefault((problem.row, problem.column, problem.given if not problem.column else ""), problem)
    return tuple(sorted(first.values(), key=lambda problem: problem.row))


def _left_over(rows: Sequence[_Row], zone: tzinfo | None) -> Iterator[RowProblem]:
    """The examples of the template, which nobody saw at this tub."""
    examples = [_row(0, COLUMNS, cells, zone, []) for cells in template()[1:]]
    said = [(example.kind, example.happened) for example in examples if example]
    for row in rows:
        if (row.kind, row.happened) in said:
            expected = "what happened at this tub; delete the row or write over it"
            yield RowProblem(row.number, "", "an example of the template", expected)


def _unkeepable(row: _Row, entry: Entry) -> list[RowProblem]:
    try:
        check_text(entry)
    except InputError as error:
        return [RowProblem(row.number, p.field, p.given, p.expected) for p in error.problems]
    return []


def _ids(tub: str, rows: Sequence[tuple[_Row, datetime]]) -> list[str]:
    """The ids of the rows; one without gets a name made of what it says, so that the same row is the same entry."""
    seen: Counter[str] = Counter()
    found = []
    for row, happened in rows:
        content = json.dumps([tub, row.kind, happened.timestamp(), row.body], sort_keys=True)
        seen[content] += 1
        found.append(row.id or str(uuid5(_SPACE, f"{content} {seen[content]}")))
    return found
