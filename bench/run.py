"""Runs the benchmarks and prints their table: `python3 run.py bench [NAME ...]`; one that takes options: `NAME --help`.

Each other module or package of this folder is a benchmark: `run() -> list[tuple[str, str]]`, one pair for each row,
what was measured and the result, as a ratio to a reference that the same run measured.
"""

from __future__ import annotations

import importlib
import sys
import time
from pathlib import Path

__all__ = ["Row", "benchmarks", "main", "table", "with_options"]

Row = tuple[str, str]
HERE = Path(__file__).resolve().parent


def benchmarks() -> list[str]:
    """The names of the benchmarks in this folder."""
    modules = [path.stem for path in HERE.glob("*.py") if path.stem != "run" and not path.stem.startswith("_")]
    return sorted(modules + [path.parent.name for path in HERE.glob("*/__init__.py")])


def table(rows: list[tuple[str, str, str]]) -> str:
    """A Markdown table of (benchmark, what was measured, result)."""
    lines = [("benchmark", "measured", "result"), *rows]
    widths = [max(len(line[column]) for line in lines) for column in range(3)]
    cells = [" | ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)) for line in lines]
    rule = "|".join("-" * (width + 2) for width in widths)
    return "\n".join([f"| {cells[0]} |", f"|{rule}|", *(f"| {cell} |" for cell in cells[1:])])


def with_options(names: list[str], options: list[str]) -> int:
    """Runs one benchmark that has a command line of its own."""
    own = getattr(importlib.import_module(names[0]), "main", None) if len(names) == 1 else None
    if own is None:
        print("Options go to one benchmark that takes some, such as `trial --help`.", file=sys.stderr)
        return 2
    return int(own(options))


def main(arguments: list[str]) -> int:
    """Runs the named benchmarks, or all, and prints their table; or one with options of its own."""
    first = next((i for i, word in enumerate(arguments) if word.startswith("-")), len(arguments))
    names, options = arguments[:first], arguments[first:]
    known = benchmarks()
    if unknown := [name for name in names if name not in known]:
        print(f"No benchmark is called {', '.join(unknown)}. There are: {', '.join(known)}.", file=sys.stderr)
        return 2
    if options:
        return with_options(names, options)
    rows: list[tuple[str, str, str]] = []
    for name in names or known:
        print(f"{name} ...", file=sys.stderr, flush=True)
        started = time.perf_counter()
        rows += [(name, *row) for row in importlib.import_module(name).run()]
        print(f"{name}: {time.perf_counter() - started:.1f} s", file=sys.stderr, flush=True)
    print(table(rows))
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
