"""The columns of a table of happenings, for spreadsheets: which there are, and how a cell becomes an entry and back.

One row is one happening. The columns have the names of the entries in a keeper's file; "what" names the table.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from enum import Enum
from typing import Any, Protocol

from tubwater.errors import InputError
from tubwater.services.happenings import between
from tubwater.services.papers import GERM_KEYS, METALS, SOURCE_QUANTITIES
from tubwater.services.ports import HAPPENINGS, Kind
from tubwater.tub import Quantity
from tubwater.units import parse_number

__all__ = [
    "COLUMNS",
    "LEADING",
    "PARTS",
    "Cell",
    "Form",
    "Formula",
    "Sheet",
    "SheetFiles",
    "cell_of",
    "heading_of",
    "value_of",
]

Cell = str | int | float | bool | datetime | None
Sheet = Sequence[Sequence[Cell]]  # the first row holds the headings


class Formula(str):
    """A cell that holds a formula: a spreadsheet would show something else than what stands in the file."""


class Form(Enum):
    """How a cell is read."""

    TEXT = "a text"
    NUMBER = "a number"
    READING = 'a number, "<1", ">10", or "1 to 2" or "1-2" for between'
    YES = "yes or no"
    LIST = "words with a semicolon between them"


_QUANTITIES = {quantity.value.replace(" ", "_"): Form.READING for quantity in Quantity}
PARTS: Mapping[Kind, Mapping[str, Form]] = {
    Kind.TEST: {
        **dict.fromkeys(("method", "scale", "after_dose"), Form.TEXT),
        **_QUANTITIES,
        "jets": Form.YES,
        "bathers": Form.NUMBER,
        "guest": Form.YES,
    },
    Kind.DOSED: {"product": Form.TEXT, "amount": Form.TEXT, "measures": Form.NUMBER, "sure": Form.YES},
    Kind.SOAKED: {"people": Form.NUMBER, "lasted": Form.TEXT},
    Kind.FILLED: {"volume": Form.TEXT},
    Kind.DRAINED: {"volume": Form.TEXT},
    Kind.FEEDER: {"product": Form.TEXT, "tablets": Form.NUMBER, "opening": Form.NUMBER},
    Kind.NOTICED: {
        "clarity": Form.TEXT,
        "signs": Form.LIST,
        "too_little_sanitizer_for": Form.TEXT,
        "soak_not_noted": Form.TEXT,
    },
    Kind.CARED: {"task": Form.TEXT},
    Kind.SAMPLED: {
        **dict.fromkeys(("taken", "laboratory", "report", "point"), Form.TEXT),
        **dict.fromkeys(GERM_KEYS, Form.READING),
        **dict.fromkeys(("sanitizer", "pH"), Form.NUMBER),
    },
    Kind.APPOINTED: dict.fromkeys(("name", "qualification"), Form.TEXT),
    Kind.SOURCE_WATER: {
        **dict.fromkeys((quantity.value.replace(" ", "_") for quantity in SOURCE_QUANTITIES), Form.READING),
        **dict.fromkeys((*METALS, "dissolved_solids", "report"), Form.TEXT),
    },
    Kind.OPENING_HOURS: dict.fromkeys(("opens", "closes"), Form.TEXT),
    Kind.CLOSED: dict.fromkeys(("why", "reason", "by"), Form.TEXT),
    Kind.REOPENED: {"reason": Form.TEXT},
}
LEADING = ("what", "at", "id")  # id may be empty; it makes a second import of the same row harmless
COLUMNS: tuple[str, ...] = (*LEADING, *dict.fromkeys(name for kind in HAPPENINGS for name in PARTS[kind]))
_BY_HEADING = {name.casefold(): name for name in COLUMNS}


def heading_of(cell: Cell) -> str | None:
    """The column that a heading names, whatever its capitals and whether words are joined; None for an unknown one."""
    return _BY_HEADING.get("_".join(str(cell or "").split()).casefold())


def value_of(form: Form, cell: Cell) -> Any:
    """What a cell says, in the form of a keeper's file; texts that cannot be read stay, so that they are told.

    Raises:
        InputError: a formula, or no number where only a number can be.
    """
    if isinstance(cell, Formula):
        raise InputError.one("", str(cell), "its value: a formula is not computed here")
    if isinstance(cell, datetime):
        raise InputError.one("", cell.isoformat(" "), f"{form.value}; the spreadsheet took it for a date")
    if not isinstance(cell, str):
        return _bare(cell)
    text = cell.strip()
    if form is Form.NUMBER:
        return _bare(parse_number(text))
    if form is Form.LIST:
        return [word.strip() for word in text.split(";") if word.strip()]
    if form is Form.YES:
        return {"yes": True, "true": True, "no": False, "false": False}.get(text.casefold(), text)
    return _reading(text) if form is Form.READING else text


def _reading(text: str) -> Any:
    return [_number_or_text(end) for end in between(text) or ()] or _number_or_text(text)


def _number_or_text(text: str) -> Any:
    """A text with a unit, or one that can be read two ways, is left for the reader of events, which tells."""
    try:
        return _bare(parse_number(text))
    except InputError:
        return text


def _bare(value: Any) -> Any:
    return int(value) if isinstance(value, float) and value.is_integer() else value


def cell_of(value: Any) -> Cell:
    """A value of a keeper's file as a cell."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list | tuple):
        if not value:
            return ";"  # a list of nothing says something: an empty cell does not
        both = len(value) == 2 and all(any(sign.isdigit() for sign in str(item)) for item in value)
        return (" to " if both else "; ").join(str(item) for item in value)
    return value if value is None or isinstance(value, str | int | float) else str(value)


class SheetFiles(Protocol):
    """Reads and writes files of tables; the ending of the name (.csv or .xlsx) says which."""

    def read(self, name: str, content: bytes) -> Sheet:
        """The rows of a file.

        Raises:
            InputError: it cannot be read.
        """
        ...

    def write(self, name: str, sheet: Sheet) -> bytes:
        """The file of some rows."""
        ...
