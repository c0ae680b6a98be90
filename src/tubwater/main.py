"""The composition root: the only module that joins the use cases and a face."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import argparse

    from tubwater.services.keeping import Keeping
    from tubwater.services.storage import Storehouse

__all__ = ["main"]

_OWN_NAMES = frozenset({"127.0.0.1", "localhost", "[::1]"})


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs the command line.

    Args:
        arguments: the words behind the command; those of this process if None.

    Returns:
        The exit code.
    """
    # Imported here: `--help` has to come at once, and importing is what takes time at a start.
    from tubwater.cli.app import run

    return run(sys.argv[1:] if arguments is None else list(arguments), _storehouse, _serve)


def _storehouse() -> Storehouse:
    from tubwater.logbook import SqlStorehouse

    return SqlStorehouse()


def _serve(words: argparse.Namespace) -> int:
    """Joins the logbook, the use cases and the pages, and serves them."""
    from tubwater.errors import InputError
    from tubwater.logbook import open_logbook
    from tubwater.logbook.passwords import ArgonPasswords
    from tubwater.services.accounts import Accounts
    from tubwater.services.keeping import Keeping
    from tubwater.services.memory import RandomNames, SystemClock
    from tubwater.web import create_app
    from tubwater.web.serving import is_here, listen, serve

    clock, names, here = SystemClock(), RandomNames(), is_here(words.host)
    logbook = open_logbook(words.logbook or _place(words.demo))
    try:
        accounts = Accounts(logbook.accounts, ArgonPasswords(), clock, names)
        if not here and not accounts.exist():
            expected = "127.0.0.1, or an account first: tubwater account add NAME"
            raise InputError.one("--host", words.host, expected)
        listener = listen(words.host, words.port)
        keeping = Keeping(logbook.entries, logbook.snapshots, clock, names)
        if words.demo:
            _fill(keeping)
        app = create_app(keeping, hosts=_OWN_NAMES if here else None, kits=logbook.kits, accounts=accounts)
        serve(app, listener, not words.no_browser)
    finally:
        logbook.close()
    return 0


def _place(demo: bool) -> str:
    """The keeper's logbook, or a fresh one for the demo of a day; those of other days are taken away."""
    from datetime import date
    from pathlib import Path

    from tubwater.logbook import SqlStorehouse

    place = SqlStorehouse().default_place()
    if not demo:
        return place
    folder = (Path.home() if "://" in place else Path(place).expanduser().parent) / "demo"
    mine = f"{date.today().isoformat()}.sqlite"
    for old in folder.glob("????-??-??.sqlite*"):
        if not old.name.startswith(mine):
            old.unlink(missing_ok=True)
    return str(folder / mine)


def _fill(keeping: Keeping) -> None:
    from tubwater.services.demo import fill_demo

    if not keeping.store.tubs():
        print("Entering half a year of an invented tub; working it out takes a minute, once a day ...", flush=True)
        fill_demo(keeping)
    for tub in keeping.store.tubs():
        print(f"Working out what the water of {keeping.file(tub).tub.name} is ...", flush=True)
        keeping.verdict(tub)
