"""The pages of the reference that come from the code: commands, paths of the server, rules of the tests."""

from __future__ import annotations

import argparse
import ast
import os
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any
from unittest.mock import patch

from reference_form import grid, page
from tubwater.cli.app import build_parser

__all__ = ["commands", "interface", "rules", "subparsers"]

# Commands and paths


def commands() -> str:
    """The help of every command, as an 80-column terminal prints it."""
    with patch.dict(os.environ, {"COLUMNS": "80", "NO_COLOR": "1"}):
        parser = build_parser()
        helps = [("tubwater", parser), *((f"tubwater {name}", sub) for name, sub in subparsers(parser))]
        sections = [f"## `{name}`\n\n```text\n{one.format_help().rstrip()}\n```" for name, one in helps]
    return page("Commands", "Exit code 0; 1 where something looked at is wrong; 2 for input not understood.", sections)


def subparsers(parser: argparse.ArgumentParser) -> Iterator[tuple[str, argparse.ArgumentParser]]:
    """The commands directly below a parser."""
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            yield from action.choices.items()


def interface() -> str:
    """The paths of the server, from its own routes."""
    from fastapi.routing import APIRoute

    from tubwater.services.keeping import Keeping
    from tubwater.services.memory import MemoryEntries, MemorySnapshots, RandomNames, SystemClock
    from tubwater.web import create_app

    app = create_app(Keeping(MemoryEntries(), MemorySnapshots(), SystemClock(), RandomNames()))
    found = sorted((r for r in every_route(app.routes) if isinstance(r, APIRoute)), key=lambda r: (r.path, verb(r)))
    tables = [
        paths("For programs (JSON)", [route for route in found if route.path.startswith("/api/")]),
        paths("Pages and files", [route for route in found if not route.path.startswith("/api/")]),
    ]
    lead = "The server that `tubwater serve` starts describes its JSON paths itself at `/api/openapi.json`."
    return page("Paths of the server", lead, tables)


def verb(route: Any) -> str:
    """The method of a route."""
    return str(min(route.methods))


def every_route(routes: Iterable[Any]) -> Iterator[Any]:
    """The routes of an application, those of its parts included."""
    for route in routes:
        part = getattr(route, "original_router", None)
        yield from [route] if part is None else every_route(part.routes)


def paths(heading: str, listed: Iterable[Any]) -> str:
    """A table of routes."""
    rows = ((f"`{verb(route)} {route.path}`", first_line(route.description)) for route in listed)
    return f"## {heading}\n\n" + grid(("path", "does"), rows)


def first_line(text: str) -> str:
    """The first line of a description."""
    return text.strip().split("\n")[0]


# What the tests hold every answer to


def rules() -> str:
    """The rules that nothing may break, in the words of the tests that judge them."""
    folder = Path(__file__).resolve().parent.parent / "tests" / "advice"
    told = {name: text for file in sorted(folder.glob("rules_*.py")) for name, text in functions(file)}
    kept = dict(tuples(folder / "rules.py"))["RULES"]
    lead = "Each is judged on answers to random tubs, shelves and logbooks, apart from the code that gave the answer."
    return page("Rules that nothing may break", lead, [f"## The rules ({len(kept)})", sentences(kept, told)])


def functions(file: Path) -> Iterator[tuple[str, str]]:
    """The functions of a module with their descriptions."""
    for node in ast.parse(file.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.FunctionDef):
            yield node.name, ast.get_docstring(node) or ""


def tuples(file: Path) -> Iterator[tuple[str, list[str]]]:
    """The tuples of names that a module lists, by their name."""
    for node in ast.parse(file.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.AnnAssign) and isinstance(node.value, ast.Tuple) and isinstance(node.target, ast.Name):
            yield node.target.id, [part.id for part in node.value.elts if isinstance(part, ast.Name)]


def sentences(names: Iterable[str], told: Mapping[str, str]) -> str:
    """The names as sentences, with what more is said of each."""
    said = (
        (name.replace("_", " ").capitalize().replace(" ph ", " pH "), " ".join(told[name].split())) for name in names
    )
    return "\n".join(f"- {sentence}. {more}".rstrip() for sentence, more in said)
