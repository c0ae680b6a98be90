"""The words of the commands that look after a stored logbook; nothing heavy loads here."""

from __future__ import annotations

import argparse

__all__ = ["STORAGE_COMMANDS", "STORED_COMMANDS", "add_storage_commands"]

STORAGE_COMMANDS = {
    "backup": "copy a logbook into a new file while it is in use",
    "restore": "fill an empty logbook from a backup",
    "check-storage": "look a logbook over for damage",
    "export": "write a logbook as JSON, or what happened to a tub as CSV or XLSX",
    "import": "take in such a file; of a table every problem is shown before anything is written",
    "template": "write a table to fill in, as CSV or XLSX",
    "account": "who may use the logbook from elsewhere: add, list, password, role, close",
}
STORED_COMMANDS = frozenset(  # without FILE they ask a logbook
    {
        *("plan", "verdict", "water", "why", "ledger", "handout", "outlook", "trouble"),
        *("shelf", "due", "calendar", "record", "remind"),
    }
)
_DEEDS = ("add", "list", "password", "role", "close")


def add_storage_commands(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Adds them to the parser."""
    for name, text in STORAGE_COMMANDS.items():
        parser = commands.add_parser(name, help=text, description=f"{text[0].upper()}{text[1:]}.")
        if name not in ("check-storage", "account"):
            parser.add_argument("file", metavar="FILE", help="the file")
        if name != "template":
            parser.add_argument(
                "--logbook", metavar="PLACE", help="a file, or postgresql://user@host/name; else TUBWATER_LOGBOOK"
            )
        if name in ("export", "import", "account"):
            parser.add_argument("--tub", metavar="TUB", help="its name or id, where there are several")
        _own_options(parser, name)
        parser.add_argument("--json", action="store_true", help="for a machine")


def _own_options(parser: argparse.ArgumentParser, name: str) -> None:
    if name == "import":
        parser.add_argument("--write", action="store_true", help="write the rows of a table if none has a problem")
        parser.add_argument("--zone", metavar="ZONE", help="of times without an offset, such as Europe/London")
    if name == "account":
        parser.add_argument("what", choices=_DEEDS, help="what to do")
        parser.add_argument("name", metavar="NAME", nargs="?", default="", help="whose account")
        parser.add_argument("--role", choices=("keeper", "helper", "reader", "none"), default="none", help="for role")
