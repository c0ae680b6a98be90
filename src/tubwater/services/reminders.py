"""What is due today, told by mail once a day to each address: the letters, and who has had which."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Protocol
from uuid import UUID, uuid5

from tubwater.errors import InputError
from tubwater.services.due import Due

__all__ = ["Letter", "Memory", "Post", "address_of", "due_today", "remind"]

_NAMES = UUID("0b7a4c52-3d0e-4f0e-8f6c-6a1d9f1c2e77")  # a namespace of our own, drawn once
_ADDRESS = re.compile(r"[^\s@<>(),;:\"\\\[\]]{1,64}@[^\s@<>(),;:\"\\\[\]]{1,255}")


@dataclass(frozen=True)
class Letter:
    """One message to one address. ``id`` names it for good: the same day, tub and address give the same."""

    id: str
    to: str
    subject: str
    text: str


class Post(Protocol):
    """Carries letters."""

    def send(self, letter: Letter) -> None:
        """Hands a letter over.

        Raises:
            InputError: it was not taken, and why.
        """
        ...


class Memory(Protocol):
    """Remembers which letters went out."""

    def knows(self, id: str) -> bool:
        """Whether this one went out."""
        ...

    def keep(self, id: str, at: datetime) -> None:
        """It went out."""
        ...


def due_today(dues: Iterable[Due], now: datetime) -> tuple[Due, ...]:
    """What is overdue or due on this day, each with its time in the keeper's zone, which is that of ``now``."""
    zone = now.tzinfo
    here = (replace(due, at=due.at.astimezone(zone), last=due.last and due.last.astimezone(zone)) for due in dues)
    return tuple(due for due in here if due.now or due.at.date() <= now.date())


def remind(
    tub: str,
    subject: str,
    text: str,
    addresses: Sequence[str],
    now: datetime,
    post: Post,
    memory: Memory,
    again: bool = False,
) -> tuple[str, ...]:
    """Sends the text to each address that has not had one about this tub today; the addresses it went to.

    It is remembered after it was taken: after a failure in between it may come twice, and is never lost.

    Raises:
        InputError: an address that cannot be meant, or a letter that was not taken.
    """
    sent = []
    for to in dict.fromkeys(map(address_of, addresses)):
        letter = Letter(_id(tub, to, now.date()), to, " ".join(subject.split()), text)
        if again or not memory.knows(letter.id):
            post.send(letter)
            memory.keep(letter.id, now)
            sent.append(to)
    return tuple(sent)


def address_of(text: str, field: str = "--mail-to") -> str:
    """A mail address.

    Raises:
        InputError: it is none.
    """
    if not _ADDRESS.fullmatch(text.strip()):
        raise InputError.one(field, text, "a mail address, such as keeper@example.org")
    return text.strip()


def _id(tub: str, to: str, day: date) -> str:
    return str(uuid5(_NAMES, f"{tub}\n{to.lower()}\n{day.isoformat()}"))
