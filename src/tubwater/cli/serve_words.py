"""The words of the command that serves the pages; nothing heavy loads here."""

from __future__ import annotations

import argparse

__all__ = ["add_serve_command"]


def add_serve_command(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Adds it to the parser."""
    text = "the pages for the phone beside the tub, on this computer"
    parser = commands.add_parser("serve", help=text, description=f"{text[0].upper()}{text[1:]}.")
    parser.add_argument("--demo", action="store_true", help="with an invented scenario in a logbook of its own")
    parser.add_argument("--logbook", metavar="PLACE", help="a file, or postgresql://user@host/name")
    parser.add_argument("--host", default="127.0.0.1", metavar="ADDRESS", help="another address needs an account")
    parser.add_argument("--port", type=int, default=8765, metavar="N", help="8765 where nothing is said")
    parser.add_argument("--https", action="store_true", help="for phones on this network too, once there is an account")
    parser.add_argument("--https-port", type=int, metavar="N", help="the port after --port where nothing is said")
    parser.add_argument("--no-browser", action="store_true", help="do not open the browser")
