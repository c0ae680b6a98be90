"""The forms of a page of the reference: headings, tables, and how sure a thing is."""

from __future__ import annotations

from collections.abc import Iterable

from tubwater.facts import Basis
from tubwater.reports.text import text_of

__all__ = ["grid", "grounds", "number", "page", "row"]


def page(heading: str, lead: str, sections: Iterable[str]) -> str:
    """A page of sections."""
    return "\n\n".join([f"# {heading}", lead, *sections]).rstrip() + "\n"


def row(*cells: object) -> str:
    """A row of a table."""
    return "| " + " | ".join(str(cell).replace("|", "\\|").replace("\n", " ") for cell in cells) + " |"


def grid(head: Iterable[str], rows: Iterable[Iterable[object]]) -> str:
    """A table."""
    names = list(head)
    return "\n".join([row(*names), "|" + "---|" * len(names), *(row(*cells) for cells in rows)])


def grounds(basis: Basis) -> str:
    """How sure something is, with its sources and note."""
    sources = ", ".join(f"[{key}](references.md#{key})" for key in basis.sources)
    return "; ".join(part for part in (text_of("basis", basis.kind.value), sources, basis.note) if part)


def number(value: float) -> str:
    """A number as short as it can be said."""
    return f"{value:.12g}"
