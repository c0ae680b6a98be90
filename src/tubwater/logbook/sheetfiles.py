"""Tables as CSV and XLSX. A text that a spreadsheet would take for a formula stays a text, in both and both ways."""

from __future__ import annotations

import csv
import io
import re
import zipfile
from collections.abc import Callable, Iterable
from datetime import datetime
from typing import Any

from openpyxl import Workbook, load_workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Font

from tubwater.errors import InputError
from tubwater.services.columns import Cell, Formula, Sheet

__all__ = ["FileSheets"]

_MOST_BYTES, _MOST_UNPACKED, _MOST_ROWS, _MOST_COLUMNS = 20_000_000, 200_000_000, 50_000, 200
_STARTS_FORMULA = re.compile(r"[=+\-@\t\r]")
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
_SUPPOSED = "a table saved as CSV (in UTF-8) or XLSX"


class FileSheets:
    """A ``SheetFiles``."""

    def read(self, name: str, content: bytes) -> Sheet:
        """See ``SheetFiles``."""
        if len(content) > _MOST_BYTES:
            raise InputError.one("file", f"{len(content)} bytes", f"at most {_MOST_BYTES} bytes; split the table")
        found: Sheet = _of_ending(name, {".csv": _read_csv, ".xlsx": _read_xlsx})(content)
        return found

    def write(self, name: str, sheet: Sheet) -> bytes:
        """See ``SheetFiles``."""
        made: bytes = _of_ending(name, {".csv": _write_csv, ".xlsx": _write_xlsx})(sheet)
        return made


def _of_ending(name: str, known: dict[str, Callable[[Any], Any]]) -> Callable[[Any], Any]:
    found = next((work for ending, work in known.items() if name.lower().endswith(ending)), None)
    if found is None:
        raise InputError.one("file", name, "a name that ends in .csv or .xlsx")
    return found


def _limited(rows: Iterable[list[Cell]]) -> Sheet:
    kept: list[list[Cell]] = []
    for row in rows:
        if len(kept) > _MOST_ROWS or len(row) > _MOST_COLUMNS:
            most = f"at most {_MOST_ROWS} rows and {_MOST_COLUMNS} columns"
            raise InputError.one("file", "a larger table", most)
        kept.append(row)
    return kept


# CSV


def _read_csv(content: bytes) -> Sheet:
    try:
        text = content.decode("utf-8-sig")
        first = text.partition("\n")[0]
        mark = max(",;\t", key=first.count)
        return _limited([_unguarded(cell) for cell in row] for row in csv.reader(io.StringIO(text, ""), delimiter=mark))
    except (UnicodeDecodeError, csv.Error) as error:
        raise InputError.one("file", f"what is no such table ({error})", _SUPPOSED) from None


def _write_csv(sheet: Sheet) -> bytes:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    for row in sheet:
        writer.writerow([_guarded(cell) if isinstance(cell, str) else cell for cell in row])
    return out.getvalue().encode("utf-8-sig", "replace")


def _guarded(text: str) -> str:
    """With an apostrophe before what would be computed; one that a text begins with itself is doubled."""
    return f"'{text}" if _STARTS_FORMULA.match(text) or text.startswith("'") else text


def _unguarded(text: str) -> str:
    return text[1:] if text.startswith("'") and (_STARTS_FORMULA.match(text[1:]) or text[1:2] == "'") else text


# XLSX


def _read_xlsx(content: bytes) -> Sheet:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            unpacked = sum(part.file_size for part in packed.infolist())
        if unpacked > _MOST_UNPACKED:
            raise InputError.one("file", "a table that unpacks to more than it should", _SUPPOSED)
        book = load_workbook(io.BytesIO(content), read_only=True)
        try:
            page = book.worksheets[0]
            page.reset_dimensions()  # what the file says of its size may be anything
            return _limited([_from_cell(cell) for cell in row] for row in page.iter_rows())
        finally:
            book.close()
    except InputError:
        raise
    except Exception as error:  # a damaged file can break the library's reader anywhere
        raise InputError.one("file", f"what is no such table ({error})"[:200], _SUPPOSED) from None


def _from_cell(cell: Any) -> Cell:
    value = cell.value
    if cell.data_type == "f":
        return Formula(value)
    if cell.data_type == "e":
        return Formula(f"an error of the spreadsheet ({value})")
    return value if value is None or isinstance(value, str | int | float | bool | datetime) else str(value)


def _write_xlsx(sheet: Sheet) -> bytes:
    book = Workbook(write_only=True)
    page = book.create_sheet("logbook")
    page.freeze_panes = "A2"
    for number, row in enumerate(sheet):
        page.append([_to_cell(page, cell, bold=number == 0) for cell in row])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _to_cell(page: Any, value: Cell, bold: bool) -> Any:
    made = WriteOnlyCell(page, value=_CONTROL.sub("?", value) if isinstance(value, str) else value)
    if isinstance(value, str):
        made.data_type = "s"  # even if it begins with an equals sign
    if bold:
        made.font = Font(bold=True)
    return made
