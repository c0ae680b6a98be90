"""The command line: reads the words, calls the use case, prints the answer."""

from __future__ import annotations

import argparse
from collections.abc import Sequence

from tubwater import __version__

__all__ = ["build_parser", "run"]


def build_parser() -> argparse.ArgumentParser:
    """The parser of all commands; importing this module loads nothing heavy."""
    parser = argparse.ArgumentParser(prog="tubwater", description="Keeps the water of hot tubs safe.")
    parser.add_argument("--version", action="version", version=f"tubwater {__version__}")
    return parser


def run(arguments: Sequence[str]) -> int:
    """Does what the words ask and returns the exit code."""
    parser = build_parser()
    parser.parse_args(arguments)
    parser.print_help()
    return 0
