"""The commands that look after a stored logbook: copies, the look-over, files in and out, and accounts."""

from __future__ import annotations

import argparse
import getpass
import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from tubwater.cli.storage_words import STORED_COMMANDS
from tubwater.cli.tubs import tub_of
from tubwater.errors import InputError, Problem, UnknownEntry
from tubwater.reports.data import to_json
from tubwater.reports.refusals import problem_line, refusal
from tubwater.reports.text import text_of
from tubwater.services.accounts import Accounts
from tubwater.services.document import take_document, to_document
from tubwater.services.memory import MemoryEntries, RandomNames, SystemClock
from tubwater.services.memory_kits import MemoryKits
from tubwater.services.people import ALL_TUBS, Account, Caller, Role, name_key
from tubwater.services.storage import Logbook, Storehouse
from tubwater.services.transfer import Preview, RowProblem, Transfer, template

__all__ = ["storage_answer"]

_SHEETS, _DOCUMENT = (".csv", ".xlsx"), ".json"


def storage_answer(words: argparse.Namespace, storehouse: Storehouse) -> tuple[str, int]:
    """What a command prints, and its exit code: 1 where something is wrong with what was looked at.

    Raises:
        InputError, Conflict, UnknownEntry, StoreUnavailable.
    """
    work: dict[str, Callable[[argparse.Namespace, Storehouse], tuple[str, int]]] = {
        "backup": _backup,
        "restore": _restore,
        "check-storage": _check,
        "export": _export,
        "import": _import,
        "template": _template,
        "account": _account,
        "record": _record,
    }
    return work.get(words.command, _asked)(words, storehouse)


@contextmanager
def _opened(words: argparse.Namespace, storehouse: Storehouse, must_exist: bool = True) -> Iterator[Logbook]:
    place = words.logbook or storehouse.default_place()
    if must_exist and not _is_there(place):
        if words.command in STORED_COMMANDS and not words.logbook:
            raise InputError.one("FILE", "nothing", f"a tub file, since there is no logbook at {place}")
        raise InputError.one("--logbook", place, "a logbook that is there")
    logbook = storehouse.open(place)
    try:
        yield logbook
    finally:
        logbook.close()


def _is_there(place: str) -> bool:
    """Of a database that is asked by a URL, only opening it tells."""
    return "://" in place or Path(place).expanduser().is_file()


def _said(words: argparse.Namespace, data: object, text: str, code: int = 0) -> tuple[str, int]:
    return (to_json(data) if words.json else text) + "\n", code


def _backup(words: argparse.Namespace, storehouse: Storehouse) -> tuple[str, int]:
    with _opened(words, storehouse) as logbook:
        count = logbook.backup(Path(words.file))
    return _said(words, {"file": words.file, "entries": count}, _say("entries", file=words.file, count=count))


def _restore(words: argparse.Namespace, storehouse: Storehouse) -> tuple[str, int]:
    place = words.logbook or storehouse.default_place()
    count = storehouse.restore(Path(words.file), place)
    return _said(words, {"entries": count}, _say("restored", count=count))


def _check(words: argparse.Namespace, storehouse: Storehouse) -> tuple[str, int]:
    with _opened(words, storehouse) as logbook:
        findings = logbook.check()
    lines = [f"{finding.fault}: {finding.where}: {refusal(finding.found)}" for finding in findings]
    text = "\n".join([*lines, _say("findings", count=len(lines)) if lines else _say("nothing-wrong")])
    return _said(words, findings, text, 1 if findings else 0)


def _export(words: argparse.Namespace, storehouse: Storehouse) -> tuple[str, int]:
    is_sheet = _is_sheet(words.file)
    with _opened(words, storehouse) as logbook:
        if is_sheet:
            sheet = Transfer(logbook.entries, SystemClock()).table(tub_of(logbook.entries, words.tub))
            content, count = storehouse.sheets.write(words.file, sheet), len(sheet) - 1
        else:
            tubs = [tub_of(logbook.entries, words.tub)] if words.tub else []
            document = to_document(logbook.entries, logbook.kits, tubs)
            content, count = json.dumps(document, indent=1).encode(), len(document["entries"])
    _write(words.file, content)
    return _said(words, {"file": words.file, "entries": count}, _say("entries", file=words.file, count=count))


def _import(words: argparse.Namespace, storehouse: Storehouse) -> tuple[str, int]:
    content = _content(words.file)
    if not _is_sheet(words.file):
        document, place = _document(words.file, content), words.logbook or storehouse.default_place()
        if not _is_there(place):
            take_document(document, MemoryEntries(), MemoryKits(), SystemClock())
        with _opened(words, storehouse, must_exist=False) as logbook:
            new, known = take_document(document, logbook.entries, logbook.kits, SystemClock())
        return _said(words, {"new": new, "known": known}, _say("taken", new=new, known=known))
    sheet = storehouse.sheets.read(words.file, content)
    with _opened(words, storehouse) as logbook:
        transfer = Transfer(logbook.entries, SystemClock())
        preview = transfer.preview(tub_of(logbook.entries, words.tub), sheet, zone=_zone(words.zone))
        if words.write and not preview.problems:
            transfer.take(preview)
    return _previewed(words, preview)


def _previewed(words: argparse.Namespace, preview: Preview) -> tuple[str, int]:
    code = 1 if preview.problems else 0
    written = words.write and not preview.problems
    if words.json:
        found = {"new": len(preview.new), "known": preview.known, "problems": preview.problems, "written": written}
        return to_json(found) + "\n", code
    last = _say("written" if written else "not-written" if code else "not-yet-written")
    lines = [*map(_problem, preview.problems)]
    lines.append(_say("rows", new=len(preview.new), known=preview.known, last=last))
    return "\n".join(lines) + "\n", code


def _problem(problem: RowProblem) -> str:
    where = _say("row", number=problem.row, column=problem.column)
    return problem_line(Problem(where, problem.given, problem.expected))


def _template(words: argparse.Namespace, storehouse: Storehouse) -> tuple[str, int]:
    _write(words.file, storehouse.sheets.write(words.file, template()))
    return _said(words, {"file": words.file}, words.file)


def _record(words: argparse.Namespace, storehouse: Storehouse) -> tuple[str, int]:
    from tubwater.cli.record import record_of_logbook

    with _opened(words, storehouse) as logbook:
        accounts = Accounts(logbook.accounts, storehouse.passwords, SystemClock(), RandomNames())
        return record_of_logbook(words, logbook, tub_of(logbook.entries, words.tub), accounts), 0


def _asked(words: argparse.Namespace, storehouse: Storehouse) -> tuple[str, int]:
    from tubwater.cli.stored import stored_answer

    with _opened(words, storehouse) as logbook:
        return stored_answer(words, logbook, tub_of(logbook.entries, words.tub)), 0


def _account(words: argparse.Namespace, storehouse: Storehouse) -> tuple[str, int]:
    """Whoever can open the logbook at this computer may do what its owner may."""
    with _opened(words, storehouse, must_exist=words.what != "add") as logbook:
        accounts = Accounts(logbook.accounts, storehouse.passwords, SystemClock(), RandomNames())
        return _said(words, *_of_accounts(words, accounts, logbook))


def _of_accounts(words: argparse.Namespace, accounts: Accounts, logbook: Logbook) -> tuple[Any, str]:
    me = Caller("", "this computer", owner=True)
    if words.what == "list":
        found = [_shown(accounts, account) for account in accounts.people(me)]
        return found, "\n".join(_account_line(row) for row in found) or _say("no-account")
    if words.what == "add":
        made = accounts.add(words.name, _password(), me)
        return {"name": made.name, "owner": made.owner}, _say("can-log-in", name=made.name)
    account = accounts.store.named(name_key(words.name))
    if account is None:
        raise UnknownEntry("account", words.name)
    if words.what == "password":
        accounts.set_password(account.id, _password(), me)
    elif words.what == "close":
        accounts.close(account.id, me)
    else:
        tub = ALL_TUBS if words.tub in (None, ALL_TUBS) else tub_of(logbook.entries, words.tub)
        accounts.grant(account.id, tub, None if words.role == "none" else Role(words.role), me)
    return {"name": account.name}, _say("done")


def _shown(accounts: Accounts, account: Account) -> dict[str, Any]:
    roles = {tub: str(role) for tub, role in accounts.store.roles(account.id).items()}
    return {"name": account.name, "owner": account.owner, "closed": account.closed, "roles": roles}


def _account_line(row: dict[str, Any]) -> str:
    roles = [_say("role-of", role=_say(f"role-{role}"), tub=tub) for tub, role in row["roles"].items()]
    said = _say("owner") if row["owner"] else ", ".join(roles) or _say("no-role")
    return f"{row['name']}: {_say('closed') if row['closed'] else said}"


def _say(kind: str, **values: object) -> str:
    return text_of("cli", kind, values)


def _password() -> str:
    """Asked for without showing it; from a pipe, its first line."""
    return getpass.getpass(_say("password")) if sys.stdin.isatty() else sys.stdin.readline().rstrip("\n")


def _is_sheet(name: str) -> bool:
    if not name.lower().endswith((*_SHEETS, _DOCUMENT)):
        raise InputError.one("FILE", name, "a name that ends in .json, .csv or .xlsx")
    return not name.lower().endswith(_DOCUMENT)


def _zone(name: str | None) -> ZoneInfo | None:
    try:
        return ZoneInfo(name) if name else None
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise InputError.one("--zone", name, "the name of a time zone, such as Europe/London") from None


def _content(name: str) -> bytes:
    try:
        return Path(name).read_bytes()
    except OSError as error:
        raise InputError.one("FILE", f"{name} ({error.strerror})", "a file that can be read") from None


def _document(name: str, content: bytes) -> object:
    try:
        return json.loads(content)
    except (ValueError, RecursionError) as error:
        raise InputError.one("FILE", f"{name} ({error})"[:200], "a document in JSON") from None


def _write(name: str, content: bytes) -> None:
    """A new file; what is there already is never written over."""
    try:
        with Path(name).open("xb") as file:
            file.write(content)
    except FileExistsError:
        raise InputError.one("FILE", name, "the name of a file that is not there yet") from None
    except OSError as error:
        raise InputError.one("FILE", f"{name} ({error.strerror})", "a file that can be written") from None
