"""The check of the documents finds each fault that was planted, and nothing in a clean checkout."""

from __future__ import annotations

from pathlib import Path

import pytest

import check_documents

CLEAN_README = """# A house
[inside](src/tubwater/cli/app.py), [part](#a-house), [outside](https://example.org/).
`python3 run.py check` and `tubwater plan`:

```console
$ tubwater plan tub.toml
```
"""
CLI = """import argparse
def build_parser():
    parser = argparse.ArgumentParser()
    parser.add_subparsers().add_parser("plan")
    return parser
"""
# Each fault is spelt in parts, so that the check does not find it here.
FAULTS = {
    "a link to nowhere": ("README.md", "[gone](gone.md)", "leads nowhere"),
    "an address in a lock": ("requirements.lock", "--index-url https:" + "//example.org/", "address in a set-up file"),
    "a registry": ("docs/a.md", "see py" + "pi.org", "package registry"),
    "a machine path": ("bench/x.py", "open('/ho" + "me/somebody/x')", "path of one machine"),
    "a leftover": ("src/tubwater/x.py", "# TO" + "DO later", "unfinished work"),
    "an unknown command": ("docs/a.md", "`tubwater " + "fly`", "'fly', which does not exist"),
}


@pytest.fixture
def house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A small checkout in which everything is well."""
    for name, text in {
        "README.md": CLEAN_README,
        "src/tubwater/__init__.py": "",
        "src/tubwater/cli/__init__.py": "",
        "src/tubwater/cli/app.py": CLI,
        "run.py": "COMMANDS = ('check',)\n",
        "requirements.lock": "numpy==2\n",
        "docs/a.md": "text\n![a tub](tub.png)\n",
        "docs/README.md": "[a](a.md)\n",
        "docs/tub.png": "x" * 60_000,
    }.items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(text, encoding="utf-8")
    monkeypatch.setattr(check_documents, "cli_commands", lambda root: {"plan"})
    monkeypatch.setattr(check_documents, "launcher_commands", lambda root: {"check"})
    return tmp_path


def test_a_clean_house_has_no_findings(house: Path) -> None:
    assert check_documents.findings(house) == []


@pytest.mark.parametrize(("name", "text", "found"), FAULTS.values(), ids=FAULTS.keys())
def test_a_planted_fault_is_found(house: Path, name: str, text: str, found: str) -> None:
    path = house / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text((path.read_text(encoding="utf-8") if path.exists() else "") + text + "\n", encoding="utf-8")
    assert [found in finding for finding in check_documents.findings(house)] == [True]


def test_a_page_that_the_index_does_not_lead_to_is_found(house: Path) -> None:
    (house / "docs" / "b.md").write_text("text\n", encoding="utf-8")
    assert check_documents.findings(house) == ["docs/b.md: docs/README.md does not link to it"]


def test_a_picture_that_no_page_shows_is_found(house: Path) -> None:
    (house / "docs" / "other.png").write_bytes(b"x")
    assert check_documents.findings(house) == ["docs/other.png: no document shows it"]


def test_a_picture_that_is_too_large_is_found(house: Path) -> None:
    (house / "docs" / "tub.png").write_bytes(b"x" * 60_001)
    assert check_documents.findings(house) == ["docs/tub.png: 60001 bytes, more than 60000"]


def test_too_many_pictures_are_found(house: Path) -> None:
    for number in range(17):
        (house / "docs" / f"{number}.png").write_bytes(b"x" * 60_000)
    (house / "docs" / "a.md").write_text(
        "".join(f"![n]({n}.png)" for n in range(17)) + "![](tub.png)", encoding="utf-8"
    )
    assert check_documents.findings(house) == ["docs: 1080000 bytes of pictures, more than 1000000"]


def test_a_command_that_no_document_names_is_found(house: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(check_documents, "cli_commands", lambda root: {"plan", "verdict"})
    assert check_documents.findings(house) == ["no document names the command 'verdict'"]


def test_what_tools_leave_behind_is_not_read(house: Path) -> None:
    (house / ".venv").mkdir()
    (house / ".venv" / "x.py").write_text("# TO" + "DO", encoding="utf-8")
    assert check_documents.findings(house) == []
