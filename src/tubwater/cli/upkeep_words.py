"""The words of the commands about the shelf, what is due, and the calendar; nothing heavy loads here."""

from __future__ import annotations

import argparse

__all__ = ["UPKEEP_COMMANDS", "upkeep_options"]

UPKEEP_COMMANDS = {
    "shelf": "what is left and until when, what to buy, what it costs, what must stand apart",
    "due": "tests, visits, care, refill and what expires, by their dates",
    "calendar": "the same as an iCalendar file for any calendar",
    "remind": "send what is due today by mail, once a day",
}


def upkeep_options(parser: argparse.ArgumentParser, name: str) -> None:
    """The options that only this command has."""
    if name == "shelf":
        parser.add_argument("--weeks", metavar="N", help="to buy for, 4 where nothing is said, 26 at most")
    if name == "due":
        parser.add_argument("--days", metavar="N", help="how far ahead, 14 where nothing is said")
    if name == "calendar":
        parser.add_argument("--days", metavar="N", help="how far ahead, 120 where nothing is said")
        parser.add_argument("--out", metavar="ICS", help="write it into this file")
    if name == "remind":
        parser.add_argument("--mail-to", action="append", default=[], metavar="ADDRESS", help="else TUBWATER_MAIL_TO")
        parser.add_argument("--mail-from", metavar="ADDRESS", help="else TUBWATER_MAIL_FROM")
        parser.add_argument("--smtp", metavar="HOST:PORT", help="the mail server; else TUBWATER_SMTP")
        parser.add_argument(
            "--smtp-security", choices=("starttls", "tls", "none"), help="starttls, but none on this computer"
        )
        parser.add_argument("--state", metavar="FILE", help="remembers what went out; else FILE.reminded.json")
        parser.add_argument("--again", action="store_true", help="even if it went out today")
