"""Checks what stands in the checkout as text: links, pictures, hosts, machine paths, leftovers, commands.

Run it as `python tools/check_documents.py [ROOT]`: it prints one line for each finding and exits 1 if there is any.
"""

from __future__ import annotations

import importlib
import re
import sys
from argparse import ArgumentParser, _SubParsersAction
from collections.abc import Callable, Iterator
from pathlib import Path

from checkout import blocks, documents, files, text_files

__all__ = ["CHECKS", "cli_commands", "findings", "main", "mentioned_commands"]

LINK = re.compile(r"\[[^\]]*\]\((?P<target>[^)\s]+)[^)]*\)")
INLINE_CODE = re.compile(r"`(?:\$ )?(?:tubwater|python3 run\.py) (?P<word>[a-z][a-z-]*)[^`]*`")
CONSOLE_LINE = re.compile(r"^\$ (?:tubwater|python3 run\.py) (?P<word>[a-z][a-z-]*)", re.MULTILINE)
URL = re.compile(r"\b[a-z]+://", re.IGNORECASE)
# Spelt in parts, so that these patterns do not find themselves.
REGISTRY = re.compile(
    r"\b(?:" + "|".join(("py" + "pi", "pythonhosted", "npm" + "js", "crates")) + r")\.(?:org|io|com)\b"
)
MACHINE_PATH = re.compile(r"(?<![\w.~/])/(?:work|root|tmp|home|opt)/\w")
LEFTOVER = re.compile(r"\b(?:TO" + r"DO|FIX" + r"ME|X" + r"XX)\b")
PICTURE = ".png"
MOST_BYTES_OF_A_PICTURE, MOST_BYTES_OF_PICTURES = 60_000, 1_000_000
SET_UP_FILES = frozenset({"pyproject.toml", "requirements.lock", "requirements-dev.lock", "run.py", "run"})


def broken_links(root: Path) -> Iterator[str]:
    """Relative links of a document that lead nowhere."""
    for document in documents(root):
        prose = document.read_text(encoding="utf-8")
        for target in (found["target"] for found in LINK.finditer(prose)):
            path = target.split("#")[0]
            if (
                path
                and not URL.match(path)
                and not path.startswith("mailto:")
                and not (document.parent / path).exists()
            ):
                yield f"{document.relative_to(root)}: the link to {target} leads nowhere"


def lost_documents(root: Path) -> Iterator[str]:
    """Pages of docs that its index does not lead to, and pictures that no page shows."""
    folder = root / "docs"
    index = folder / "README.md"
    told = linked(index) if index.exists() else set()
    shown: set[Path] = set().union(*(linked(document) for document in documents(root)))
    for path in files(folder):
        if path.suffix == ".md" and path not in {index, *told}:
            yield f"{path.relative_to(root)}: docs/README.md does not link to it"
        if path.suffix == PICTURE and path not in shown:
            yield f"{path.relative_to(root)}: no document shows it"


def heavy_pictures(root: Path) -> Iterator[str]:
    """Pictures that are too large, one by one or together."""
    sizes = {path: path.stat().st_size for path in files(root / "docs") if path.suffix == PICTURE}
    for path, size in sizes.items():
        if size > MOST_BYTES_OF_A_PICTURE:
            yield f"{path.relative_to(root)}: {size} bytes, more than {MOST_BYTES_OF_A_PICTURE}"
    if sum(sizes.values()) > MOST_BYTES_OF_PICTURES:
        yield f"docs: {sum(sizes.values())} bytes of pictures, more than {MOST_BYTES_OF_PICTURES}"


def linked(document: Path) -> set[Path]:
    """The files that a document links to."""
    targets = (found["target"].split("#")[0] for found in LINK.finditer(document.read_text(encoding="utf-8")))
    return {(document.parent / target).resolve() for target in targets if target and not URL.match(target)}


def addresses_in_set_up(root: Path) -> Iterator[str]:
    """Addresses in the files that set-up reads: they would tie it to one machine's registry."""
    for path in text_files(root):
        if path.name in SET_UP_FILES:
            yield from matches(root, path, URL, "an address in a set-up file")


def registries(root: Path) -> Iterator[str]:
    """Names of package registry hosts, anywhere."""
    for path in text_files(root):
        yield from matches(root, path, REGISTRY, "the name of a package registry")


def machine_paths(root: Path) -> Iterator[str]:
    """Absolute paths of somebody's machine, anywhere."""
    for path in text_files(root):
        yield from matches(root, path, MACHINE_PATH, "a path of one machine")


def leftovers(root: Path) -> Iterator[str]:
    """Marks of unfinished work."""
    for path in text_files(root):
        yield from matches(root, path, LEFTOVER, "a mark of unfinished work")


def unknown_commands(root: Path) -> Iterator[str]:
    """Commands that a document names and nothing offers."""
    known = cli_commands(root) | launcher_commands(root)
    for document in documents(root):
        for word in sorted(mentioned_commands(document) - known):
            yield f"{document.relative_to(root)}: names the command {word!r}, which does not exist"


def untold_commands(root: Path) -> Iterator[str]:
    """Commands that exist and no document names."""
    told: set[str] = set().union(*(mentioned_commands(document) for document in documents(root)))
    for word in sorted((cli_commands(root) | launcher_commands(root)) - told):
        yield f"no document names the command {word!r}"


CHECKS: tuple[Callable[[Path], Iterator[str]], ...] = (
    broken_links,
    lost_documents,
    heavy_pictures,
    addresses_in_set_up,
    registries,
    machine_paths,
    leftovers,
    unknown_commands,
    untold_commands,
)


def matches(root: Path, path: Path, pattern: re.Pattern[str], what: str) -> Iterator[str]:
    """The lines of a file in which the pattern stands."""
    for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1):
        if found := pattern.search(line):
            yield f"{path.relative_to(root)}:{number}: {what}: {found.group()}"


def mentioned_commands(document: Path) -> set[str]:
    """The commands of Tubwater and of its launcher that a document names in code."""
    text = document.read_text(encoding="utf-8")
    consoles = "\n".join(block.text for block in blocks(document) if block.language == "console")
    return {found["word"] for found in (*INLINE_CODE.finditer(text), *CONSOLE_LINE.finditer(consoles))}


def cli_commands(root: Path) -> set[str]:
    """The commands that the parser of the sources offers."""
    parser = imported(root / "src", "tubwater.cli.app").build_parser()
    return set(subcommands(parser))


def launcher_commands(root: Path) -> set[str]:
    """The commands that the launcher keeps to itself."""
    return set(imported(root, "run").COMMANDS)


def subcommands(parser: ArgumentParser) -> Iterator[str]:
    """The names of the commands directly below a parser."""
    for action in parser._actions:
        if isinstance(action, _SubParsersAction):
            yield from action.choices


def imported(folder: Path, name: str):  # type: ignore[no-untyped-def]
    """Imports a module from a folder."""
    sys.path.insert(0, str(folder))
    try:
        return importlib.import_module(name)
    finally:
        sys.path.remove(str(folder))


def findings(root: Path) -> list[str]:
    """Everything that every check finds."""
    return [finding for check in CHECKS for finding in check(root)]


def main(arguments: list[str]) -> int:
    """Prints the findings; the exit code says whether there are any."""
    root = Path(arguments[0] if arguments else Path(__file__).parent.parent).resolve()
    found = findings(root)
    for finding in found:
        print(finding)
    print(f"{len(found)} findings in {sum(1 for _ in text_files(root))} files")
    return 1 if found else 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
