"""The command line: reads the words, calls the use case, prints the answer. Nothing heavy loads before it must."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from tubwater import __version__
from tubwater.cli.serve_words import add_serve_command
from tubwater.cli.storage_words import STORAGE_COMMANDS, STORED_COMMANDS, add_storage_commands
from tubwater.cli.upkeep_words import UPKEEP_COMMANDS, upkeep_options

if TYPE_CHECKING:
    from tubwater.errors import TubwaterError
    from tubwater.services.storage import Storehouse

__all__ = ["build_parser", "run"]

_EXAMPLES = """\
examples:
  tubwater serve --demo              the pages, with an invented scenario
  tubwater demo                      the whole answer for an invented tub
  tubwater example > tub.toml        an annotated file to copy
  tubwater plan tub.toml             what to add, how much, in what order
  tubwater verdict tub.toml --read bromine=4 --read pH=7.5 --with strip
  tubwater why tub.toml --step 2     the reason and the source behind step 2
  tubwater plan tub.toml --about chlorine-to-bromine
  tubwater trouble tub.toml --sign cloudy-white --not foam
  tubwater outlook --tub Larch       of a tub in the logbook, without a file
  tubwater handout tub.toml --out handout.pdf --keeper "Whom to ask"
  tubwater plan tub.toml --json      the same for a machine
"""
_FILE_COMMANDS = {
    "plan": "what to add, how much, in what order, and when people may get in",
    "verdict": "may people get in now, how many, and until when",
    "water": "what the water is, with its doubt",
    "why": "the reasons of a plan with their sources",
    "ledger": "what has built up since the fill, and by when to drain",
    "handout": "one page for the owner: bands, doses, the week, when to stop",
    "outlook": "where the water is going, when to test again, and what a party or an absence would do",
    "trouble": "what may be behind cloudy water, foam, smell and the like",
    **UPKEEP_COMMANDS,
}
_WHAT_IF = (
    ("--days", "N", "how far to look ahead, 14 where nothing is said"),
    ("--party-at", "TIME", "many people at that time"),
    ("--party-people", "N", "how many"),
    ("--party-minutes", "MIN", "how long, 60 where nothing is said"),
    ("--away-from", "TIME", "nobody in from then"),
    ("--away-until", "TIME", "until then"),
    ("--opening", "SHARE", "the feeder opened so far, 0 to 1"),
    ("--tablets", "N", "so many tablets in it"),
    ("--test", "METHOD", "how long a test now with this method would hold"),
)
_PLAIN_COMMANDS = {
    "demo": "the plan for an invented tub",
    "example": "print the annotated file of that tub, to copy",
    "substances": "what can be on the shelf",
    "methods": "what can be tested with",
    "guidelines": "limits and their sources",
}


def build_parser() -> argparse.ArgumentParser:
    """The parser of all commands; importing this module loads nothing heavy."""
    parser = argparse.ArgumentParser(
        prog="tubwater",
        description="Keeps the water of hot tubs safe: from an imprecise test to a computed plan.",
        epilog=_EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"tubwater {__version__}")
    # A name of its own: a command that takes the option too would set it back to nothing.
    parser.add_argument("--language", dest="spoken", choices=("en", "de"), help="English or German, for any command")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND")
    for name, text in _FILE_COMMANDS.items():
        _file_options(commands.add_parser(name, help=text, description=f"{text[0].upper()}{text[1:]}."), name)
    for name, text in _PLAIN_COMMANDS.items():
        _common_options(commands.add_parser(name, help=text, description=f"{text[0].upper()}{text[1:]}."))
    _sheet_options(commands)
    add_storage_commands(commands)
    add_serve_command(commands)
    shell = commands.add_parser("completion", help="a script for your shell", description="Prints a completion script.")
    shell.add_argument("shell", choices=("bash", "zsh", "fish"))
    return parser


def _file_options(parser: argparse.ArgumentParser, name: str) -> None:
    stored = name in STORED_COMMANDS
    text = "the tub file; see `tubwater example`" + ("; without it, the logbook" if stored else "")
    parser.add_argument("file", metavar="FILE", nargs="?" if stored else None, help=text)
    if stored:
        parser.add_argument("--logbook", metavar="PLACE", help="without FILE; else TUBWATER_LOGBOOK")
        parser.add_argument("--tub", metavar="TUB", help="its name or id, where the logbook has several")
    parser.add_argument("--read", action="append", default=[], metavar="NAME=VALUE", help="a reading, such as pH=7.8")
    parser.add_argument("--with", dest="method", metavar="METHOD", help="what --read was read with, such as strip")
    parser.add_argument("--scale", metavar="SCALE", help='the bottle\'s scale for it: "as Br2" or "as Cl2"')
    if name in ("plan", "why"):
        parser.add_argument("--about", metavar="WHAT", help="a plan for something else, such as winter or away-weekend")
        parser.add_argument("--say", action="append", default=[], metavar="NAME=VALUE", help="more of it: days=3")
    if name == "why":
        parser.add_argument("--step", type=int, metavar="N", help="only step N")
    if name == "outlook":
        for option, value, text in _WHAT_IF:
            parser.add_argument(option, metavar=value, help=text)
    if name == "trouble":
        parser.add_argument("--sign", action="append", default=[], metavar="SIGN", help="seen, such as foam")
        parser.add_argument("--not", dest="absent", action="append", default=[], metavar="SIGN", help="not seen")
        parser.add_argument("--check", action="append", default=[], metavar="CHECK=yes", help="a check and its answer")
    if name == "ledger":
        parser.add_argument("--change", metavar="AMOUNT", help='what changing so much would do, such as "400 L"')
    if name == "handout":
        parser.add_argument("--keeper", default="", metavar="NAME", help="whom to ask")
        parser.add_argument("--phone", default="", metavar="NUMBER", help="under which number")
        parser.add_argument("--address", default="", metavar="ADDRESS", help="what the QR code leads to")
        parser.add_argument("--label", action="store_true", help="with --out, a label for the cabinet instead")
        _print_options(parser)
    upkeep_options(parser, name)
    _common_options(parser)


def _sheet_options(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    text = "what never to mix, how to keep it, and first steps when something goes wrong"
    parser = commands.add_parser("safety", help=text, description=f"{text[0].upper()}{text[1:]}.")
    parser.add_argument("file", metavar="FILE", nargs="?", help="a tub file, whose shelf is looked at as well")
    parser.add_argument("--logbook", metavar="PLACE", help="the shelf of a tub in it instead; else TUBWATER_LOGBOOK")
    parser.add_argument("--tub", metavar="TUB", help="its name or id, where the logbook has several")
    _print_options(parser)
    _common_options(parser)


def _print_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--out", metavar="PDF", help="write it as PDF into this file")
    parser.add_argument(
        "--paper", type=str.lower, choices=("a4", "letter"), help="for --out; else as the units have it"
    )


def _common_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--json", action="store_true", help="for a machine")
    parser.add_argument("--units", choices=("metric", "us"), help="how amounts are printed")
    parser.add_argument("--language", choices=("en", "de"), help="English or German; else TUBWATER_LANGUAGE")
    parser.add_argument("--now", metavar="TIME", help="answer as of this time, such as 2026-11-20T09:00:00+01:00")
    parser.add_argument("--seed", type=int, default=0, metavar="N", help="another draw of the possible tubs")


def run(
    arguments: Sequence[str],
    storehouse: Callable[[], Storehouse] | None = None,
    server: Callable[[argparse.Namespace], int] | None = None,
) -> int:
    """Does what the words ask.

    Args:
        server: serves the pages; without it that command refuses.
        storehouse: gives what opens stored logbooks, called only by the commands that need it; without it they refuse.

    Returns:
        The exit code: 0, 1 where something is wrong with what was looked at, 2 for input that cannot be meant.
    """
    parser = build_parser()
    words = parser.parse_args(arguments)
    if words.command is None:
        parser.print_help()
        return 0
    if words.command == "completion":
        from tubwater.cli.completion import script

        print(script(words.shell, parser))
        return 0
    return _answered(words, storehouse, server)


def _answered(
    words: argparse.Namespace,
    storehouse: Callable[[], Storehouse] | None,
    server: Callable[[argparse.Namespace], int] | None,
) -> int:
    from tubwater.cli.language import language_for
    from tubwater.errors import InputError, StoreUnavailable, TubwaterError
    from tubwater.reports.language import speaking

    try:
        chosen = language_for(words, os.environ)
    except InputError as error:
        return _refused(error, words)
    with speaking(chosen):
        try:
            if words.command == "serve":
                if server is None:
                    raise StoreUnavailable("no pages can be served from here")
                return server(words)
            text, code = _answer(words, storehouse)
            print(text, end="")
        except TubwaterError as error:
            return _refused(error, words)
        return code


def _refused(error: TubwaterError, words: argparse.Namespace) -> int:
    """Tells each problem as a line."""
    from tubwater.cli.options import as_typed
    from tubwater.errors import InputError
    from tubwater.reports.refusals import problem_line, refusal

    if isinstance(error, InputError):
        lines = [problem_line(as_typed(problem, words)) for problem in error.problems]
    else:
        lines = [f"{refusal(str(error))}."]
    for line in lines:
        print(f"tubwater: {line}", file=sys.stderr)
    return 2


def _asks_a_logbook(words: argparse.Namespace) -> bool:
    """Without FILE; the safety sheet is of no tub unless one is named."""
    if words.command == "safety":
        return words.file is None and bool(words.logbook or words.tub)
    return words.command in STORED_COMMANDS and words.file is None


def _answer(words: argparse.Namespace, storehouse: Callable[[], Storehouse] | None) -> tuple[str, int]:
    if words.command in STORAGE_COMMANDS or _asks_a_logbook(words):
        from tubwater.cli.storage import storage_answer
        from tubwater.errors import StoreUnavailable

        if storehouse is None:
            raise StoreUnavailable("no logbook can be opened from here")
        return storage_answer(words, storehouse())
    from tubwater.cli.answers import answer

    return answer(words), 0
