"""The command `remind`: what is due today, by mail through an ordinary mail server, once a day."""

from __future__ import annotations

import argparse
import json
import os
import smtplib
import ssl
from collections.abc import Mapping, Sequence
from contextvars import copy_context
from dataclasses import dataclass
from datetime import datetime
from email.message import EmailMessage
from email.utils import format_datetime
from pathlib import Path

from tubwater.errors import InputError
from tubwater.reports.data import to_json
from tubwater.reports.due import reminder_text
from tubwater.reports.text import text_of
from tubwater.reports.zone import tell_times_in
from tubwater.services.due import Due, due_of_file
from tubwater.services.reminders import Letter, address_of, due_today, remind
from tubwater.services.tubfile import TubFile

__all__ = ["MailServer", "SentFile", "letter_text", "remind_answer"]

_SECONDS = 30.0  # to wait for a mail server
_PORTS = {"starttls": 587, "tls": 465, "none": 25}
_HERE = frozenset({"localhost", "127.0.0.1", "::1"})
_MOST_KEPT = 5000


def remind_answer(words: argparse.Namespace, file: TubFile, now: datetime) -> str:
    """Sends what is due today, and says to whom.

    Raises:
        InputError: an address or a server that cannot be meant, or that took nothing.
    """
    server, addresses = MailServer.of(words, os.environ), _addresses(words)
    dues = due_today(due_of_file(file, now, 1.0, words.seed), now)
    sent: tuple[str, ...] = ()
    if dues:
        subject = text_of("due", "mail-subject", {"name": file.tub.name, "count": len(dues)})
        memory = SentFile(_state(words))
        memory.demand_writable()
        text = copy_context().run(letter_text, file.tub.name, dues, now)
        sent = remind(file.tub.name, subject, text, addresses, now, server, memory, words.again)
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


def _state(words: argparse.Namespace) -> Path:
    """Where it is remembered who had which letter: beside the file, where nobody says otherwise."""
    return Path(words.state) if words.state else Path(words.file).with_suffix(".reminded.json")


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


class SentFile:
    """Remembers in a file which letters went out."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def knows(self, id: str) -> bool:
        """Whether this one went out."""
        return id in self._read()

    def keep(self, id: str, at: datetime) -> None:
        """It went out; the file is changed whole or not at all.

        Raises:
            InputError: the file cannot be written.
        """
        self._write({**self._read(), id: at.isoformat()})

    def demand_writable(self) -> None:
        """Looks, before a letter goes out, whether that could be remembered.

        Raises:
            InputError: the file cannot be written, or is none of ours.
        """
        self._write(self._read())

    def _write(self, known: Mapping[str, str]) -> None:
        newest = dict(sorted(known.items(), key=lambda row: row[1])[-_MOST_KEPT:])
        fresh = self._path.with_name(self._path.name + ".new")
        try:
            fresh.write_text(json.dumps(newest, indent=1), encoding="utf-8")
            fresh.replace(self._path)
        except OSError as error:
            raise InputError.one("--state", f"{self._path} ({error.strerror})", "a file that can be written") from None

    def _read(self) -> dict[str, str]:
        try:
            found = json.loads(self._path.read_text(encoding="utf-8"))
        except FileNotFoundError:
            return {}
        except (OSError, ValueError):
            found = None
        if not isinstance(found, dict) or not all(isinstance(value, str) for value in found.values()):
            raise InputError.one("--state", str(self._path), "a file that this command wrote, or none")
        return found
