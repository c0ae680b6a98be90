"""Which tub of a logbook is meant, by its id or its name."""

from __future__ import annotations

import argparse
from pathlib import Path

from tubwater.errors import InputError
from tubwater.services.effective import newest
from tubwater.services.ports import EntryStore, Kind

__all__ = ["refuse_a_logbook", "refuse_of_a_file", "tub_of"]

_SQLITE = b"SQLite format 3\x00"


def tub_of(entries: EntryStore, given: str | None) -> str:
    """The id of the tub that an id or a name means; without one, that of the only tub.

    Raises:
        InputError: there is none, or more than one could be meant; it names those that are there.
    """
    tubs = entries.tubs()
    if given in tubs:
        return str(given)
    if not tubs:
        expected = "a logbook with a tub in it; tubwater serve or tubwater import brings one in"
        raise InputError.one("--tub", given or "nothing", expected)
    names = {tub: _name(entries, tub) for tub in tubs}
    asked = given.strip().casefold() if given else None
    found = [tub for tub, name in names.items() if asked in (None, name.casefold())]
    if len(found) == 1:
        return found[0]
    told = ", ".join(f'"{names[tub]}" (id {tub})' for tub in found or tubs)
    expected = "the id of one of" if len(found) > 1 and given else "the name or id of a tub that is there:"
    raise InputError.one("--tub", given or "nothing", f"{expected} {told}")


def _name(entries: EntryStore, tub: str) -> str:
    described = newest(entries.of(tub), Kind.TUB)
    table = described.entry.body.get("tub") if described else None
    return str(table.get("name", "")).strip() if isinstance(table, dict) else ""


def refuse_a_logbook(words: argparse.Namespace) -> None:
    """A file is one tub by itself, and no logbook.

    Raises:
        InputError: a logbook or a tub of it was named beside FILE, or FILE is a logbook.
    """
    for option, given in (("--logbook", getattr(words, "logbook", None)), ("--tub", getattr(words, "tub", None))):
        if given:
            raise InputError.one(option, given, "no FILE with it: a tub of the logbook is asked without one")
    file = getattr(words, "file", None)
    if file and _is_database(Path(file)):
        raise InputError.one("FILE", file, "a tub file; a logbook is asked with --logbook PLACE and without FILE")


def _is_database(path: Path) -> bool:
    try:
        with path.open("rb") as file:
            return file.read(len(_SQLITE)) == _SQLITE
    except OSError:
        return False  # whoever reads it says why it cannot be read


def refuse_of_a_file(words: argparse.Namespace) -> None:
    """A logbook has its own tests, draw and memory.

    Raises:
        InputError: an option that only a file takes.
    """
    for option, name in (("--read", "read"), ("--with", "method"), ("--scale", "scale")):
        if given := getattr(words, name, None):
            given = given if isinstance(given, str) else " ".join(given)
            raise InputError.one(option, given, "FILE with it: in a logbook a test is an entry")
    if getattr(words, "state", None):
        raise InputError.one("--state", words.state, "FILE with it: a logbook remembers by itself what went out")
    if words.seed:
        raise InputError.one("--seed", words.seed, "FILE with it: a logbook has its own draw")
