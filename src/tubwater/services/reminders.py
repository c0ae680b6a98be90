"""What is due today, told by mail once a day to each address: the letters, and who has had which."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Protocol
from uuid import UUID, uuid5

from tubwater.errors import InputError, Problem
from tubwater.services.due import Due
from tubwater.services.letters import LetterStore
from tubwater.services.ports import Clock

__all__ = ["Letter", "Post", "address_of", "due_today", "letters_of_day", "send_letters"]

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


def due_today(dues: Iterable[Due], now: datetime) -> tuple[Due, ...]:
    """What is overdue or due on this day, each with its time in the keeper's zone, which is that of ``now``."""
    zone = now.tzinfo
    here = (replace(due, at=due.at.astimezone(zone), last=due.last and due.last.astimezone(zone)) for due in dues)
    return tuple(due for due in here if due.now or due.at.date() <= now.date())


def letters_of_day(tub: str, subject: str, text: str, addresses: Sequence[str], day: date) -> tuple[Letter, ...]:
    """The letter about a tub on a day, once to each address.

    Raises:
        InputError: an address that cannot be meant.
    """
    subject = " ".join(subject.split())
    return tuple(Letter(_id(tub, to, day), to, subject, text) for to in dict.fromkeys(map(address_of, addresses)))


def send_letters(
    letters: Sequence[Letter], post: Post, store: LetterStore, clock: Clock, again: bool = False
) -> tuple[str, ...]:
    """Sends each letter that did not go out and that nobody else is sending; the addresses they went to.

    Each is claimed before it is handed over. One that was not taken is given back and sent the next time; where the
    program ends in between, its claim runs out, so that the letter may come twice and is never lost.

    Raises:
        InputError: letters that were not taken; the others went out.
    """
    sent: list[str] = []
    problems: list[Problem] = []
    for letter in letters:
        claimed = clock.now()
        if store.claim(letter.id, claimed, again):
            try:
                _hand_over(letter, post, store, claimed)
            except InputError as error:
                problems += error.problems
            else:
                store.keep(letter.id, clock.now())
                sent.append(letter.to)
    if problems:
        raise InputError(problems)
    return tuple(sent)


def _hand_over(letter: Letter, post: Post, store: LetterStore, claimed: datetime) -> None:
    try:
        post.send(letter)
    except BaseException:
        store.release(letter.id, claimed)
        raise


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
