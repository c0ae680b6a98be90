"""The pages of the reference: what the data and the code hold, as Markdown. Nothing here is typed in twice."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from importlib import resources
from typing import Any

from reference_code import commands, interface, rules
from reference_form import grid, grounds, number, page
from tubwater.errors import UnknownKey
from tubwater.facts import Limits, MethodQuantity, Substance
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
    "purposes": "What a plan can be asked for",
    "record": "What a guideline asks of the record",
    "references": "Sources",
    "shelf_life": "How long things stay good",
    "troubles": "Signs, causes, checks",
}
# How sure an entry is: shown in one cell.
GROUNDS = ("basis", "sources", "note")
# Files whose entries are linked to, so that each needs a heading.
SECTIONS = ("references",)
# Where the catalogue has words for the keys of a data file.
WORDS = {"care": ("care",), "purposes": ("purpose",), "troubles": ("sign", "cause", "check")}


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
    sections = (procedure(key, row) for key, row in dict(data_files())["situations"].items())
    found["situations.md"] = page("Where something is wrong first", SITUATIONS, sections)
    written = {name.removesuffix(".md") for name in found}
    found |= {f"{name}.md": plain_page(name, content) for name, content in data_files() if name not in written}
    return {"README.md": index(found), **dict(sorted(found.items()))}


def index(found: Mapping[str, str]) -> str:
    """The list of the pages."""
    lines = (f"- [{text.splitlines()[0].removeprefix('# ')}]({name})" for name, text in sorted(found.items()))
    return page("Reference", "Built from the data and the code of this version; do not edit.", ["\n".join(lines)])


# Pages with a shape of their own

SUBSTANCES = """Products go by their active ingredient, as the label states it.
Strengths, densities and hazards are from memory; the label and the safety data sheet of the product win.
Compositions are calculated from atomic weights.
A cap is the most in one addition: for acids and bases as alkalinity, for calcium as hardness, else as product."""
METHODS = """How well each method reads: the larger of an absolute and a relative part, or both combined (one sigma).
"Colours" are the steps printed on the kit; a reading between two of them is an answer too."""
GUIDELINES = """The aiming band is where a plan steers to; the bathing limits are where people may be in the water.
A limit from memory is marked *unverified*."""
SITUATIONS = """Before any dose, in this order of gravity; the first that fits counts.
"Nothing more" means that nothing goes in until it is settled; "fresh water" that the water goes and new water is begun;
"shock" that the filter is cleaned, the water shocked, held and tested."""
THEN = {"stop": "nothing more", "fresh": "fresh water", "treat": "shock"}
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
    for topic, listed in safety_rules().items():
        lines = []
        for rule in listed:
            low, high = rule.minutes or (0.0, 0.0)
            text = text_of("safety-rule", rule.key, {"low": low, "high": high})
            lines.append(f"- {text} ({grounds(rule.basis)})")
        yield f"## {text_of('topic', topic)}\n\n" + "\n".join(lines)


def procedure(key: str, found: Mapping[str, Any]) -> str:
    """One procedure: what calls for it, its steps, what follows, what else is told."""
    called = " ".join(in_words("reason", reason) for reason in found["reasons"]) or "The keeper says so."
    steps = "\n".join(f"{place}. {deed(step)}" for place, step in enumerate(found["steps"], start=1))
    told = [f"- {in_words('reason', note)}" for note in (*found.get("opens", ()), *found.get("notes", ()))]
    after = f"Then: {THEN.get(found['then'], found['then'])}. Basis: {grounds(basis_of(found))}."
    return "\n\n".join(part for part in (f"## {key}", called, steps, "\n".join(told), after) if part)


def deed(step: Mapping[str, Any]) -> str:
    """One step of a procedure with its reason, its cautions and its basis."""
    task = step.get("task", "")
    what = in_words("care", task) if task else step["do"].capitalize() + "."
    why = in_words("reason", step["why"]) if "why" in step else ""
    cautions = [text_of("caution", key) for key in step.get("cautions", ())]
    sure = f"({grounds(basis_of({'sources': [], **step}))})" if "basis" in step else ""
    return " ".join(part for part in (what, why, *cautions, sure) if part)


def in_words(section: str, key: str) -> str:
    """What the catalogue says for a key; the key itself where its text needs the values of an answer."""
    try:
        return text_of(section, key)
    except UnknownKey:
        return key.replace("-", " ").capitalize() + "."


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
