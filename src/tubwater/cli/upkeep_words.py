"""The words of the commands about the shelf, what is due, the calendar and the record; nothing heavy loads here."""

from __future__ import annotations

import argparse

__all__ = ["UPKEEP_COMMANDS", "upkeep_options"]

UPKEEP_COMMANDS = {
    "shelf": "what is left and until when, what to buy, what it costs, what must stand apart",
    "due": "tests, visits, care, refill and what expires, by their dates",
    "calendar": "the same as an iCalendar file for any calendar",
    "record": "what a guideline asks of a day and what is missing, and the record for an inspector",
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
    if name == "record":
        parser.add_argument("--day", metavar="DAY", help="that day alone, today where nothing is said")
        parser.add_argument("--from", dest="first", metavar="DAY", help="from that day on")
        parser.add_argument("--until", dest="last", metavar="DAY", help="until that day, today where nothing is said")
        parser.add_argument("--sign", metavar="NAME", help="without FILE: sign the sheet of the day, for good")
        parser.add_argument("--bathers", type=int, metavar="N", help="with --sign: how many were in, where counted")
        parser.add_argument("--remark", metavar="TEXT", help="with --sign")
        parser.add_argument("--out", metavar="FILE", help="write it into this file, .pdf or .xlsx")
        parser.add_argument(
            "--paper", type=str.lower, choices=("a4", "letter"), help="for a .pdf; else as the units have it"
        )
    if name == "remind":
        parser.add_argument("--mail-to", action="append", default=[], metavar="ADDRESS", help="else TUBWATER_MAIL_TO")
        parser.add_argument("--mail-from", metavar="ADDRESS", help="else TUBWATER_MAIL_FROM")
        parser.add_argument("--smtp", metavar="HOST:PORT", help="the mail server; else TUBWATER_SMTP")
        parser.add_argument(
            "--smtp-security", choices=("starttls", "tls", "none"), help="starttls, but none on this computer"
        )
        parser.add_argument(
            "--state", metavar="FILE", help="with FILE, remembers what went out; else FILE.reminded.json"
        )
        parser.add_argument("--again", action="store_true", help="even if it went out today")
