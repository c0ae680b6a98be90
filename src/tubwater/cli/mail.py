"""The command `remind`: what is due today, by mail through an ordinary mail server, once a day."""

from __future__ import annotations

import argparse
import os
import smtplib
import ssl
from collections.abc import Callable, Mapping, Sequence
from contextvars import copy_context
from dataclasses import dataclass
from datetime import datetime
from email.message import EmailMessage
from email.utils import format_datetime
from pathlib import Path

from tubwater.cli.sent import SentFile
from tubwater.errors import InputError
from tubwater.reports.data import to_json
from tubwater.reports.due import reminder_text
from tubwater.reports.text import text_of
from tubwater.reports.zone import tell_times_in
from tubwater.services.due import Due, due_of_file
from tubwater.services.letters import LetterStore
from tubwater.services.memory import SystemClock
from tubwater.services.reminders import Letter, address_of, due_today, letters_of_day, send_letters
from tubwater.services.tubfile import TubFile

__all__ = ["MailServer", "letter_text", "remind_answer", "remind_tub"]

_SECONDS = 30.0  # to wait for a mail server
_PORTS = {"starttls": 587, "tls": 465, "none": 25}
_HERE = frozenset({"localhost", "127.0.0.1", "::1"})


def remind_answer(words: argparse.Namespace, file: TubFile, now: datetime) -> str:
    """Sends what is due today by a keeper's file, and says to whom.

    Raises:
        InputError: an address or a server that cannot be meant, or that took nothing.
    """
    name = file.tub.name
    return _reminded(words, _About(name, name, now), lambda: due_of_file(file, now, 1.0, words.seed), _sent_file(words))


def remind_tub(
    words: argparse.Namespace, tub: str, name: str, now: datetime, find: Callable[[], Sequence[Due]], store: LetterStore
) -> str:
    """Sends what ``find`` finds due today at a tub of the logbook, and says to whom.

    Raises:
        InputError: an address or a server that cannot be meant, or that took nothing. StoreUnavailable.
    """
    return _reminded(words, _About(tub, name, now), find, store)


@dataclass(frozen=True)
class _About:
    """The tub that a letter is about: what names it for good, what people call it, and the time."""

    tub: str
    name: str
    now: datetime


def _reminded(words: argparse.Namespace, about: _About, find: Callable[[], Sequence[Due]], store: LetterStore) -> str:
    server, addresses = MailServer.of(words, os.environ), _addresses(words)
    dues = due_today(find(), about.now)
    sent: tuple[str, ...] = ()
    if dues:
        subject = text_of("due", "mail-subject", {"name": about.name, "count": len(dues)})
        text = copy_context().run(letter_text, about.name, dues, about.now)
        letters = letters_of_day(about.tub, subject, text, addresses, about.now.date())
        sent = send_letters(letters, server, store, SystemClock(), words.again)
    if words.json:
        return to_json({"due": dues, "sent": sent}) + "\n"
    kind = "mail-nothing" if not dues else "mail-sent" if sent else "mail-had"
    return text_of("due", kind, {"list": ", ".join(sent or addresses)}) + "\n"


def letter_text(name: str, dues: Sequence[Due], now: datetime) -> str:
    """The letter with the times of its sentences in the zone of ``now``, however they were stored."""
    tell_times_in(now.tzinfo)
    return reminder_text(name, dues, now)


def _addresses(words: argparse.Namespace) -> list[str]:
    given = words.mail_to or os.environ.get("TUBWATER_MAIL_TO", "").replace(",", " ").split()
    if not given:
        raise InputError.one("--mail-to", "nothing", "a mail address, such as keeper@example.org")
    return [address_of(text) for text in given]


def _sent_file(words: argparse.Namespace) -> SentFile:
    """Where it is remembered who had which letter: beside the file, where nobody says otherwise."""
    return SentFile(Path(words.state) if words.state else Path(words.file).with_suffix(".reminded.json"))


@dataclass(frozen=True)
class MailServer:
    """An ordinary mail server. ``secure`` is "starttls", "tls" or "none"; the password goes only over TLS."""

    host: str
    port: int
    secure: str
    sender: str
    user: str = ""
    password: str = ""

    @classmethod
    def of(cls, words: argparse.Namespace, environment: Mapping[str, str]) -> MailServer:
        """As the options say, or else the environment; name and password stand only there.

        Raises:
            InputError: no server, or one that cannot be meant.
        """
        given = words.smtp or environment.get("TUBWATER_SMTP", "")
        host, _, port = given.rpartition(":") if ":" in given else (given, "", "")
        host = host.strip("[]")
        if not host or (port and not (port.isdecimal() and 0 < int(port) < 65536)):
            raise InputError.one("--smtp", given or "nothing", "a mail server, such as mail.example.org:587")
        secure = words.smtp_security or ("none" if host in _HERE else "starttls")
        user, password = environment.get("TUBWATER_SMTP_USER", ""), environment.get("TUBWATER_SMTP_PASSWORD", "")
        if user and secure == "none" and host not in _HERE:
            raise InputError.one("--smtp-security", "none", "starttls or tls, since a password goes with it")
        sender = words.mail_from or environment.get("TUBWATER_MAIL_FROM", "") or user
        return cls(host, int(port or _PORTS[secure]), secure, address_of(sender, "--mail-from"), user, password)

    def send(self, letter: Letter) -> None:
        """Hands a letter over.

        Raises:
            InputError: it was not taken, and why.
        """
        try:
            with self._open() as talk:
                if self.secure == "starttls":
                    talk.starttls(context=ssl.create_default_context())
                if self.user:
                    talk.login(self.user, self.password)
                talk.send_message(self._message(letter))
        except (smtplib.SMTPException, OSError) as error:
            expected = f"a mail server that takes a letter to {letter.to}"
            raise InputError.one("--smtp", f"{self.host}:{self.port} ({_said(error)})", expected) from None

    def _open(self) -> smtplib.SMTP:
        if self.secure == "tls":
            return smtplib.SMTP_SSL(self.host, self.port, timeout=_SECONDS, context=ssl.create_default_context())
        return smtplib.SMTP(self.host, self.port, timeout=_SECONDS)

    def _message(self, letter: Letter) -> EmailMessage:
        message = EmailMessage()
        message["From"], message["To"], message["Subject"] = self.sender, letter.to, letter.subject
        message["Date"] = format_datetime(datetime.now().astimezone())
        message["Message-ID"] = f"<{letter.id}@{self.sender.rpartition('@')[2]}>"
        message["Auto-Submitted"] = "auto-generated"  # RFC 3834: nobody's machine answers it
        message.set_content(letter.text)
        return message


def _said(error: Exception) -> str:
    """The reason in one line, without what a server may have echoed of a password."""
    if isinstance(error, smtplib.SMTPAuthenticationError):
        return "name or password not taken"
    return " ".join(str(error).split())[:120] or type(error).__name__
