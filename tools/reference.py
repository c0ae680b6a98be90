"""The pages of the reference: what the data and the code hold, as Markdown. Nothing here is typed in twice."""

from __future__ import annotations

import argparse
import ast
import os
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from importlib import resources
from pathlib import Path
from typing import Any
from unittest.mock import patch

from tubwater.cli.app import build_parser
from tubwater.facts import Basis, Limits, MethodQuantity, Substance
from tubwater.facts.read import basis_of
from tubwater.facts.safety import safety_rules
from tubwater.facts.tables import guidelines, methods, substances
from tubwater.reports.text import kinds, quantity_unit, text_of

__all__ = ["data_files", "pages"]

NO_LIMIT = 1e8
HEADINGS = {
    "care": "Care that is not chemistry",
    "defaults": "What is assumed where nothing is known",
    "drain": "When the water is to be changed",
    "incompatibilities": "What never meets",
    "interferences": "What spoils a test",
    "references": "Sources",
    "shelf_life": "How long things stay good",
    "troubles": "Signs, causes, checks",
}
# How sure an entry is: shown in one cell.
GROUNDS = ("basis", "sources", "note")
# Files whose entries are linked to, so that each needs a heading.
SECTIONS = ("references",)
# Where the catalogue has words for the keys of a data file.
WORDS = {"care": ("care",), "troubles": ("sign", "cause", "check")}


def pages() -> dict[str, str]:
    """Every page by the name of its file; the same sources give the same pages."""
    found = {
        "commands.md": commands(),
        "api.md": interface(),
        "substances.md": page("Substances", SUBSTANCES, map(substance, substances().values())),
        "methods.md": page("Test methods", METHODS, map(method, methods().values())),
        "guidelines.md": page("Guidelines", GUIDELINES, map(guideline, guidelines().values())),
        "rules.md": rules(),
        "safety.md": page("Cautions and handling", SAFETY, [cautions(), *handling()]),
    }
    written = {name.removesuffix(".md") for name in found}
    found |= {f"{name}.md": plain_page(name, content) for name, content in data_files() if name not in written}
    return {"README.md": index(found), **dict(sorted(found.items()))}


def index(found: Mapping[str, str]) -> str:
    """The list of the pages."""
    lines = (f"- [{text.splitlines()[0].removeprefix('# ')}]({name})" for name, text in sorted(found.items()))
    return page("Reference", "Built from the data and the code of this version; do not edit.", ["\n".join(lines)])


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


# Pages with a shape of their own

SUBSTANCES = """Products go by their active ingredient, as the label states it.
Strengths, densities and hazards are from memory; the label and the safety data sheet of the product win.
Compositions are calculated from atomic weights.
A cap is the most in one addition: for acids and bases as alkalinity, for calcium as hardness, else as product."""
METHODS = """How well each method reads: the larger of an absolute and a relative part, or both combined (one sigma).
"Colours" are the steps printed on the kit; a reading between two of them is an answer too."""
GUIDELINES = """The aiming band is where a plan steers to; the bathing limits are where people may be in the water.
A limit from memory is marked *unverified*."""
SAFETY = "The label, the safety data sheet and local rules win over every line."


def substance(found: Substance) -> str:
    """One substance."""
    low, usual, high = (f"{100 * share:.4g} %" for share in found.strength)
    rows: list[tuple[str, object]] = [
        ("formula", f"{found.formula}, {number(found.molar_mass)} g/mol"),
        ("form", found.form.value),
        ("used to", ", ".join(sorted(role.value for role in found.roles)) or "nothing here"),
        ("also called", ", ".join(found.aliases) or "–"),
        ("sold at", f"{low} to {high}, usually {usual}; labels state {found.stated_as.value}"),
        ("most in one addition", f"{number(found.cap_mg_per_l)} mg/L" if found.cap_mg_per_l else "no cap"),
        ("wait after it", f"{number(found.minutes)} min"),
        ("hazards", ", ".join(found.hazards) or "–"),
        ("never with", "; ".join(enemies(found)) or "nothing known"),
        ("cautions", " ".join(text_of("caution", key) for key in found.cautions) or "–"),
        ("refused", "; ".join(f"{kind} tub: {text_of('reason', why)}" for kind, why in found.refused.items()) or "–"),
        ("composition", f"{moles(found)} mmol/g; {grounds(found.basis)}"),
    ]
    return f"## {found.name}\n\nKey `{found.key}`.\n\n" + grid(("", ""), rows)


def enemies(found: Substance) -> Iterator[str]:
    """The families that this substance never meets, with what would happen."""
    for first, second, effect in raw("incompatibilities")["pairs"]:
        if found.family in (first, second):
            yield f"{second if first == found.family else first}: {effect}"


def moles(found: Substance) -> str:
    """What a gram of a substance holds."""
    parts = raw("substances")[found.key]["composition"]
    return ", ".join(f"{name.replace('_', ' ')} {number(value)}" for name, value in parts.items())


def method(found: Any) -> str:
    """One test method."""
    rows = ((quantity.value, *reads(quantity, how)) for quantity, how in found.quantities.items())
    table = grid(("reads", "range", "colours", "spread"), rows)
    spoilt = ", ".join(f"[{key}](interferences.md)" for key in found.interferences) or "nothing listed"
    lines = [f"Key `{found.key}`. {number(found.minutes)} minutes. Spoilt by: {spoilt}.", table]
    return "\n\n".join([f"## {found.name}", *lines, f"Basis: {grounds(found.basis)}."])


def reads(quantity: Any, how: MethodQuantity) -> tuple[str, str, str]:
    """How a method reads one quantity: its range, its colours, its spread."""
    unit = quantity_unit(quantity)
    parts = [f"{number(how.absolute)} {unit}".strip()] if how.absolute else []
    parts += [f"{100 * how.relative:.4g} %"] if how.relative else []
    joint = " or ".join(parts) if how.combine == "max" else " and ".join(parts)
    colours = ", ".join(map(number, how.steps)) or f"in steps of {number(how.resolution)}"
    return f"{number(how.low)} to {number(how.high)} {unit}".strip(), colours, joint


def guideline(found: Any) -> str:
    """One guideline."""
    rows = ((quantity.value, *limit(quantity, limits)) for quantity, limits in found.limits.items())
    lead = [
        f"Key `{found.key}`, edition {found.edition}.",
        f"A reading counts for {number(found.max_test_age_hours)} h, never longer than "
        f"{number(found.longest_test_age_hours)} h; test every {number(found.test_interval_hours)} h.",
        f"{number(found.litres_per_bather)} L or more a person; {number(found.session_minutes)} minutes a stay.",
        f"Basis: {grounds(found.basis)}.",
    ]
    table = grid(("quantity", "aim", "bathing", "keep out", "basis"), rows)
    return "\n\n".join([f"## {found.name}", "\n".join(lead), table])


def limit(quantity: Any, limits: Limits) -> tuple[str, str, str, str]:
    """The cells of one limit: aim, bathing, keep out, basis."""
    unit = quantity_unit(quantity)

    def shown(name: str) -> str:
        value = getattr(limits, name)
        return ("no limit" if value > NO_LIMIT else number(value)) + ("" if limits.verified(name) else " *unverified*")

    aim = f"{shown('aim_low')} to {shown('aim_high')} {unit}".strip()
    bathing = f"{shown('bathing_low')} to {shown('bathing_high')} {unit}".strip()
    out = f"below {shown('keep_out_low')}, above {shown('keep_out_high')}"
    return aim, bathing, out, grounds(limits.basis)


def cautions() -> str:
    """Every caution that stands by a step."""
    return "## Beside the steps of a plan\n\n" + "\n".join(f"- {text_of('caution', key)}" for key in kinds("caution"))


def handling() -> Iterator[str]:
    """The rules of handling, by topic."""
    for topic, rules in safety_rules().items():
        lines = []
        for rule in rules:
            low, high = rule.minutes or (0.0, 0.0)
            text = text_of("safety-rule", rule.key, {"low": low, "high": high})
            lines.append(f"- {text} ({grounds(rule.basis)})")
        yield f"## {text_of('topic', topic)}\n\n" + "\n".join(lines)


# What the tests hold every answer to


def rules() -> str:
    """The rules that nothing may break, in the words of the tests that judge them."""
    folder = Path(__file__).resolve().parent.parent / "tests" / "advice"
    told = {name: text for file in sorted(folder.glob("rules_*.py")) for name, text in functions(file)}
    lists = dict(tuples(folder / "rules.py"))
    kept, still_open = lists["RULES"], lists["OPEN"]
    lead = "Each is judged on answers to random tubs, shelves and logbooks, apart from the code that gave the answer."
    sections = [f"## Hold ({len(kept)})", sentences(kept, told)]
    if still_open:
        sections += [f"## Do not hold without exception yet ({len(still_open)})", sentences(still_open, told)]
    return page("Rules that nothing may break", lead, sections)


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
    said = ((name.replace("_", " ").capitalize().replace(" ph ", " pH "), told[name]) for name in names)
    return "\n".join(f"- {sentence}. {more}".rstrip() for sentence, more in said)


# Every other data file, as it stands


def data_files() -> Iterator[tuple[str, dict[str, Any]]]:
    """The data files of the facts by name, in order."""
    folder = resources.files("tubwater.facts").joinpath("data")
    for file in sorted(folder.iterdir(), key=lambda entry: entry.name):
        if file.name.endswith(".toml"):
            yield file.name.removesuffix(".toml"), tomllib.loads(file.read_text(encoding="utf-8"))


def raw(name: str) -> dict[str, Any]:
    """One data file."""
    return dict(data_files())[name]


def plain_page(name: str, content: Mapping[str, Any]) -> str:
    """A data file: its loose values, then its entries."""
    tables = {key: value for key, value in content.items() if isinstance(value, Mapping)}
    loose = {key: value for key, value in content.items() if key not in tables}
    lead = f"From `src/tubwater/facts/data/{name}.toml`."
    own = [facts_table(loose)] if loose else []
    return page(HEADINGS.get(name, name.capitalize()), lead, [*own, *entries(name, tables)])


def entries(name: str, tables: Mapping[str, Any], level: int = 2) -> Iterator[str]:
    """The entries of a table: rows of one grid where all are plain, else a section for each."""
    if name not in SECTIONS and len(tables) > 1 and not any(inner_of(value) for value in tables.values()):
        yield one_grid(name, tables)
        return
    for key, value in tables.items():
        inner = inner_of(value)
        own = facts_table({k: v for k, v in value.items() if k not in inner})
        yield "\n\n".join(part for part in ("#" * level + f" {key}", worded(name, key), own) if part)
        yield from entries(name, inner, level + 1)


def one_grid(name: str, tables: Mapping[str, Any]) -> str:
    """Plain entries as the rows of one table."""
    columns = list(dict.fromkeys(key for value in tables.values() for key in value if key not in GROUNDS))
    told = {key: worded(name, key) for key in tables}
    sure = any("basis" in value for value in tables.values())
    head = ["key", *(["says"] if any(told.values()) else []), *(c.replace("_", " ") for c in columns)]
    rows = (
        [f"`{key}`", *([told[key]] if any(told.values()) else []), *(cell(value.get(c, "")) for c in columns)]
        + ([grounds(basis_of(value))] if sure else [])
        for key, value in tables.items()
    )
    return grid(head + (["basis"] if sure else []), rows)


def inner_of(value: Mapping[str, Any]) -> dict[str, Any]:
    """The entries inside an entry; numbers by name are a list and no entry."""
    return {k: v for k, v in value.items() if isinstance(v, Mapping) and any_table(v)}


def any_table(value: Mapping[str, Any]) -> bool:
    """Whether a mapping is an entry of its own, not a list of numbers by name."""
    return any(not isinstance(part, int | float) for part in value.values()) or "background" in value


def worded(name: str, key: str) -> str:
    """What the catalogue says for the key of a data file, or nothing."""
    for section in WORDS.get(name, ()):
        if key in kinds(section):
            return text_of(section, key)
    return ""


def facts_table(own: Mapping[str, Any]) -> str:
    """The plain values of an entry; how sure they are stands in one line."""
    rows = [(key.replace("_", " "), cell(value)) for key, value in own.items() if key not in GROUNDS]
    if "basis" in own and "sources" in own:
        rows.append(("basis", grounds(basis_of(own))))
    return grid(("", ""), rows) if rows else ""


def cell(value: Any) -> str:
    """A value of the data in a cell."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {cell(part)}" for key, part in value.items()) or "–"
    if isinstance(value, list):
        mark = "; " if value and isinstance(value[0], list) else ", "
        return mark.join(cell(part) for part in value) or "–"
    return number(value) if isinstance(value, float) else str(value) or "–"
