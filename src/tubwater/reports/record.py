"""The record for a terminal of 80 columns, and as a table of several pages for spreadsheets."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from tubwater.reports.wrapped import bullet, wrapped

__all__ = ["record_table", "record_xlsx", "render_record"]

Words = Mapping[str, Any]
_Cell = str | float
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
_WIDEST = 60  # letters of a column
_MOST_CELL = 32_767  # letters that a cell of a spreadsheet takes


def render_record(words: Words) -> str:
    """The words (``record_words``): each day, then what belongs to all of them."""
    parts = [words["title"], wrapped(f"{words['subtitle']} {words['span']}. {words['made']}.")]
    for day in words["days"]:
        parts += ["", day["head"], *_day(day)]
    for block in (words["closures"], words["samples"]):
        rows = [
            [f"{column}: {cell}" for column, cell in zip(block["columns"], row, strict=True)] for row in block["rows"]
        ]
        parts += ["", block["head"], *(_rows(rows) or [bullet(block["none"])])]
    for block in (words["persons"], words["source"]):
        parts += ["", block["head"], *map(bullet, block["lines"])]
    parts += [
        "",
        words["asked"]["head"],
        *(bullet(f"{text} {_sentence(why)}") for text, why in words["asked"]["lines"]),
    ]
    return "\n".join([*parts, "", wrapped(words["foot"]), wrapped(words["unverified"])]) + "\n"


def _day(day: Words) -> Iterator[str]:
    yield bullet(f"{day['missing']['head']}:", "")
    yield from map(bullet, day["missing"]["lines"])
    if day["to_come"]["lines"]:
        yield bullet(f"{day['to_come']['head']}:", "")
        yield from map(bullet, day["to_come"]["lines"])
    yield bullet(f"{day['entries']['head']}:", "")
    yield from _rows(day["entries"]["rows"]) or [bullet(day["entries"]["none"])]
    yield from map(bullet, (*day["notes"], day["person"]))
    yield from (bullet(f"{day['signed']['head']}: {line}") for line in day["signed"]["lines"])


def _rows(rows: Sequence[Sequence[str]]) -> list[str]:
    return [bullet("; ".join(cell.rstrip(".") for cell in row if not cell.endswith("–"))) for row in rows]


def _sentence(text: str) -> str:
    return f"({text})" if text else ""


def record_table(words: Words) -> dict[str, list[list[_Cell]]]:
    """The pages of a spreadsheet by their names, each with its headings first."""
    days = words["days"]
    day, checks, entries = words["summary"]["columns"][0], words["columns"]["checks"], words["columns"]["entries"]
    found = {
        words["summary"]["head"]: [
            words["summary"]["columns"],
            *([d["day"], *row[1:]] for d, row in zip(days, words["summary"]["rows"], strict=True)),
        ],
        words["columns"]["wanted"]: [[day, *checks], *([d["day"], *row] for d in days for row in d["checks"]["rows"])],
        words["columns"]["entered"]: [
            [day, *entries],
            *([d["day"], *row] for d in days for row in d["entries"]["rows"]),
        ],
        words["columns"]["read"]: [
            [day, *words["columns"]["readings"]],
            *([d["day"], *row] for d in days for row in d["readings"]),
        ],
        words["columns"]["signed"]: [
            [day, words["columns"]["signed"]],
            *([d["day"], line] for d in days for line in d["signed"]["lines"]),
        ],
    }
    for block in (words["closures"], words["samples"]):
        found[block["head"]] = [block["columns"], *(block["rows"] or [[block["none"]]])]
    about = [[words["title"]], [words["subtitle"]], [words["span"]], [words["made"]]]
    about += [[line] for block in (words["persons"], words["source"]) for line in (block["head"], *block["lines"])]
    about += [[words["asked"]["head"]], *([text, why] for text, why in words["asked"]["lines"])]
    found[words["columns"]["about"]] = [*about, [words["foot"]], [words["unverified"]]]
    return {name: [list(row) for row in rows] for name, rows in found.items()}


def record_xlsx(words: Words) -> bytes:
    """The record as XLSX; what was read is a number, everything else a text, so that nothing of it is computed."""
    from openpyxl import Workbook

    book = Workbook(write_only=True)
    for name, rows in record_table(words).items():
        _page(book, name, rows)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _page(book: Any, name: str, rows: Sequence[Sequence[_Cell]]) -> None:
    from openpyxl.utils import get_column_letter

    page = book.create_sheet(name[:31])
    page.freeze_panes = "A2"
    for column in range(1, max(map(len, rows)) + 1):
        widest = max((len(str(row[column - 1])) for row in rows if len(row) >= column), default=0)
        page.column_dimensions[get_column_letter(column)].width = min(max(widest, 8), _WIDEST) + 2
    for number, row in enumerate(rows):
        page.append([_cell(page, said, bold=number == 0) for said in row])


def _cell(page: Any, said: _Cell, bold: bool) -> Any:
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Alignment, Font

    if isinstance(said, float) or not said:
        return WriteOnlyCell(page, value=None if said == "" else said)
    made = WriteOnlyCell(page, value=_CONTROL.sub("?", said)[:_MOST_CELL])
    made.data_type = "s"  # even if it begins with an equals sign
    made.alignment, made.font = Alignment(wrap_text=True, vertical="top"), Font(bold=bold)
    return made
