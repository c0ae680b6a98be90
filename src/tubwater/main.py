"""The composition root: the only module that joins the use cases and a face."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable

    from tubwater.services.keeping import Keeping
    from tubwater.services.storage import Storehouse
    from tubwater.web.network import Home
    from tubwater.web.serving import Secure

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
    from tubwater.web.network import AnyOnce, is_here
    from tubwater.web.serving import listen, serve

    clock, names, here = SystemClock(), RandomNames(), is_here(words.host) and not words.https
    logbook = open_logbook(words.logbook or _place(words.demo))
    try:
        accounts = Accounts(logbook.accounts, ArgonPasswords(), clock, names)
        if not is_here(words.host) and not accounts.exist():
            expected = "this computer alone, or an account first: tubwater account add NAME"
            raise InputError.one("--host", words.host, expected)
        with listen(words.host, words.port) as listener:
            secure = _secure(words, listener.getsockname()[1], accounts.exist) if words.https else None
            keeping = Keeping(logbook.entries, logbook.snapshots, clock, names)
            if words.demo:
                _fill(keeping)
            home = secure.home if secure else _home(words.host, listener.getsockname()[1])
            hosts = _OWN_NAMES if here else AnyOnce(accounts.exist, _OWN_NAMES)
            app = create_app(keeping, hosts=hosts, kits=logbook.kits, accounts=accounts, home=home)
            serve(app, listener, not words.no_browser, secure)
    finally:
        logbook.close()
    return 0


def _secure(words: argparse.Namespace, port: int, allowed: Callable[[], bool]) -> Secure:
    """HTTPS on every address of this computer once it is ``allowed``; its certificates stand beside the logbook."""
    from datetime import UTC, datetime
    from pathlib import Path

    from tubwater.errors import InputError
    from tubwater.web.certificates import Certificates, certificates
    from tubwater.web.network import home_addresses, host_names
    from tubwater.web.serving import Secure, listen_everywhere

    place = words.logbook or _place(False)
    folder = (Path.home() / ".tubwater" if "://" in place else Path(place).expanduser().parent) / "https"

    def renew() -> Certificates:
        return certificates(folder, host_names(), ("127.0.0.1", *home_addresses()), datetime.now(UTC))

    listeners = listen_everywhere(port + 1 if words.https_port is None else words.https_port)
    try:
        return Secure(listeners, renew, allowed)
    except OSError as error:
        for listener in listeners:
            listener.close()
        raise InputError.one("--https", f"{folder} ({error.strerror})", "a folder that can be written") from None


def _home(host: str, port: int) -> Home | None:
    """How phones reach pages that are served without HTTPS; None where they cannot."""
    from tubwater.web.network import Home, home_addresses, is_here

    if is_here(host):
        return None
    return Home("http", port, find=home_addresses if host in ("0.0.0.0", "::") else lambda: (host.strip("[]"),))


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
    from tubwater.reports.text import text_of
    from tubwater.services.demo import fill_demo

    if not keeping.store.tubs():
        print(text_of("cli", "filling"), flush=True)
        fill_demo(keeping)
    for tub in keeping.store.tubs():
        print(text_of("cli", "working", {"name": keeping.file(tub).tub.name}), flush=True)
        keeping.verdict(tub)
