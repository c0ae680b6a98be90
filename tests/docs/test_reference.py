"""The reference that is built names everything that the data and the code hold, read here by another way."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from collections.abc import Iterator, Mapping
from importlib import resources
from pathlib import Path
from typing import Any

import pytest

import make_docs
import reference_pages as reference
from advice.rules import RULES
from reference_code import interface, subparsers
from tubwater.cli.app import build_parser
from tubwater.services.keeping import Keeping
from tubwater.services.memory import MemoryEntries, MemorySnapshots, RandomNames, SystemClock
from tubwater.web import create_app

DATA = resources.files("tubwater.facts").joinpath("data")
CATALOGUE = resources.files("tubwater.reports").joinpath("catalogue")


def tables(folder: Any) -> Iterator[tuple[str, dict[str, Any]]]:
    for file in folder.iterdir():
        if file.name.endswith(".toml") and not f".{file.name}".endswith(".de.toml"):  # the reference is in English
            yield file.name.removesuffix(".toml"), tomllib.loads(file.read_text(encoding="utf-8"))


FACTS = dict(tables(DATA))


@pytest.fixture(scope="module")
def pages() -> dict[str, str]:
    return reference.pages()


@pytest.mark.parametrize("name", sorted(FACTS))
def test_every_entry_of_a_data_file_is_on_its_page(pages: dict[str, str], name: str) -> None:
    for key, value in FACTS[name].items():
        if isinstance(value, Mapping):
            shown = key if name != "safety" else words_for("topic", key)
            assert shown in pages[f"{name}.md"], key


def words_for(section: str, key: str) -> str:
    found = [texts[section][key] for _, texts in tables(CATALOGUE) if key in texts.get(section, {})]
    assert found, f"no words for the {section} {key}"
    return str(found[0])


def lines_with(text: str, *words: str) -> list[str]:
    return [line for line in text.splitlines() if all(word in line for word in words)]


@pytest.mark.parametrize("name", [n for n in sorted(FACTS) if n not in ("methods", "references", "substances")])
def test_how_sure_each_entry_is_stands_with_its_source_and_note(pages: dict[str, str], name: str) -> None:
    def entries(table: Mapping[str, Any]) -> Iterator[Mapping[str, Any]]:
        if "basis" in table:
            yield table
        for value in table.values():
            if isinstance(value, Mapping):
                yield from entries(value)

    for entry in entries(FACTS[name]):
        sure = words_for("basis", entry["basis"])
        sources = [f"(references.md#{key})" for key in entry["sources"]]
        note = str(entry.get("note", "")).replace("|", "\\|")
        assert lines_with(pages[f"{name}.md"], sure, *sources, note), entry


def test_every_source_that_is_linked_to_is_on_the_page_of_sources(pages: dict[str, str]) -> None:
    linked = {part.split(")")[0] for text in pages.values() for part in text.split("references.md#")[1:]}
    assert linked and all(f"\n## {key}\n" in pages["references.md"] for key in linked)


def test_every_limit_stands_with_the_mark_of_those_from_memory(pages: dict[str, str]) -> None:
    for guideline in FACTS["guidelines"].values():
        section = pages["guidelines.md"].split(f"\n## {guideline['name']}\n")[1].split("\n## ")[0]
        for quantity, limits in guideline["limits"].items():
            (line,) = lines_with(section, f"| {quantity} |")
            _, low, aim_low, aim_high, high, _ = limits["rows"]
            for value in (low, aim_low, aim_high, high):
                assert ("no limit" if value >= 1e8 else f"{value:g}") in line
            from_memory = 6 if limits["basis"] == "from memory" else len(limits.get("unverified", ()))
            assert line.count("*unverified*") == from_memory, quantity


def test_every_method_shows_what_it_reads_and_each_colour(pages: dict[str, str]) -> None:
    for method in FACTS["methods"].values():
        section = pages["methods.md"].split(f"\n## {method['name']}\n")[1].split("\n## ")[0]
        for quantity, how in method["quantities"].items():
            assert lines_with(section, f"| {quantity} |", ", ".join(f"{step:g}" for step in how["steps"]))


def test_every_substance_shows_its_cap_its_cautions_and_what_it_never_meets(pages: dict[str, str]) -> None:
    for substance in FACTS["substances"].values():
        section = pages["substances.md"].split(f"\n## {substance['name']}\n")[1].split("\n## ")[0]
        assert all(words_for("caution", key) in section for key in substance["cautions"])
        if substance["cap_mg_per_l"]:
            assert f"{substance['cap_mg_per_l']:g} mg/L" in section
        for first, second, effect in FACTS["incompatibilities"]["pairs"]:
            if substance["family"] in (first, second):
                other = second if first == substance["family"] else first
                assert f"{other}: {effect}" in section


def test_every_caution_and_rule_of_handling_stands_on_the_safety_page(pages: dict[str, str]) -> None:
    for _, texts in tables(CATALOGUE):
        assert all(text in pages["safety.md"] for text in texts.get("caution", {}).values())
    for rules in FACTS["safety"].values():
        for key in rules:
            assert words_for("safety-rule", key).split("{")[0] in pages["safety.md"]


@pytest.mark.parametrize("key", sorted(FACTS.get("situations", {})))
def test_every_procedure_stands_with_each_of_its_tasks_and_cautions(pages: dict[str, str], key: str) -> None:
    procedure = FACTS["situations"][key]
    section = pages["situations.md"].split(f"\n## {key}\n")[1].split("\n## ")[0]
    for place, step in enumerate(procedure["steps"], start=1):
        (line,) = [line for line in section.splitlines() if line.startswith(f"{place}. ")]
        assert all(words_for("caution", caution) in line for caution in step.get("cautions", ()))
        if "task" in step:
            assert words_for("care", step["task"]) in line


def test_every_command_stands_with_each_of_its_options(pages: dict[str, str]) -> None:
    for name, parser in subparsers(build_parser()):
        section = pages["commands.md"].split(f"\n## `tubwater {name}`\n")[1].split("\n## ")[0]
        for action in parser._actions:
            assert all(option in section for option in action.option_strings), name


def test_every_path_that_the_server_describes_is_listed() -> None:
    app = create_app(Keeping(MemoryEntries(), MemorySnapshots(), SystemClock(), RandomNames()))
    text = interface()
    described = app.openapi()["paths"]
    assert described
    for path, verbs in described.items():
        assert all(f"`{verb.upper()} {path}` | " in text for verb in verbs)
    assert "`GET /tubs/{tub}` | " in text


def test_every_rule_of_the_property_tests_is_a_sentence_of_the_reference(pages: dict[str, str]) -> None:
    text = pages["rules.md"]
    assert all(rule.__name__.replace("_", " ") in text.lower() for rule in RULES)
    assert text.count("\n- ") == len(RULES)


def test_the_index_leads_to_every_page(pages: dict[str, str]) -> None:
    assert all(f"]({name})" in pages["README.md"] for name in pages if name != "README.md")


def test_a_new_data_file_gets_a_page_of_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    new = {"foam": {"value": 1.5, "basis": "common practice", "sources": [], "note": "by eye"}}
    monkeypatch.setattr(reference, "data_files", lambda: iter([*FACTS.items(), ("weather", new)]))
    page = reference.pages()["weather.md"]
    assert page.startswith("# Weather\n") and "| value | 1.5 |" in page and "common practice; by eye" in page


def test_it_is_built_twice_alike_and_writes_over_nothing_else(tmp_path: Path) -> None:
    def built() -> dict[str, str]:
        return {path.name: path.read_text(encoding="utf-8") for path in make_docs.build(tmp_path / "pages")}

    assert built() == built()
    (tmp_path / "pages" / "mine.txt").write_text("mine", encoding="utf-8")
    command = [sys.executable, str(Path(make_docs.__file__)), str(tmp_path / "pages")]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 2 and "other files" in done.stderr
    assert (tmp_path / "pages" / "mine.txt").read_text(encoding="utf-8") == "mine"
