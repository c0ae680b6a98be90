"""The values of accounts, what each role may do, and the ports: a place for accounts and a keeper of passwords."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from types import MappingProxyType
from typing import Protocol

from tubwater.errors import NotAllowed
from tubwater.services.ports import Source

__all__ = [
    "ALL_TUBS",
    "Account",
    "AccountStore",
    "Caller",
    "Deed",
    "Device",
    "Passwords",
    "Role",
    "Token",
    "TokenKind",
    "lesser",
    "may",
    "name_key",
]

ALL_TUBS = "*"  # a role on every tub, present and to come


class Role(StrEnum):
    """What somebody is to a tub; each may do what the one before may, and more."""

    READER = "reader"
    HELPER = "helper"
    KEEPER = "keeper"


class Deed(StrEnum):
    """What can be done with a tub."""

    READ = "read"  # see everything, take it away as a file
    VISIT = "visit"  # run a visit; enter, correct and withdraw what happened
    KEEP = "keep"  # change the tub and its shelf, import, give roles on it


_RANK = (Role.READER, Role.HELPER, Role.KEEPER)
_NEEDS = {Deed.READ: Role.READER, Deed.VISIT: Role.HELPER, Deed.KEEP: Role.KEEPER}


def may(role: Role | None, deed: Deed) -> bool:
    """Whether a role is enough."""
    return role is not None and _RANK.index(role) >= _RANK.index(_NEEDS[deed])


def lesser(one: Role, other: Role) -> Role:
    """The one that may do less."""
    return min(one, other, key=_RANK.index)


def name_key(name: str) -> str:
    """Two names with the same key are the same name."""
    return unicodedata.normalize("NFKC", name).casefold().strip()


class TokenKind(StrEnum):
    """What a secret is for."""

    SESSION = "session"  # a browser or a paired phone
    PROGRAM = "program"  # the JSON interface
    PAIRING = "pairing"  # lets one phone join, once
    CALENDAR = "calendar"  # reads what is due at one tub, whose id is its name, and nothing else


@dataclass(frozen=True)
class Account:
    """One person. ``password`` is a hash, "" for none; an owner keeps every tub and looks after the accounts."""

    id: str
    name: str
    password: str = field(repr=False)
    owner: bool
    created: datetime
    closed: datetime | None = None

    @property
    def opens(self) -> bool:
        """Whether somebody can log in with it."""
        return bool(self.password) and self.closed is None


@dataclass(frozen=True)
class Device:
    """A phone that has joined an account."""

    id: str
    account: str
    name: str
    joined: datetime
    withdrawn: datetime | None = None


@dataclass(frozen=True)
class Token:
    """What is kept of a secret. ``most`` is the most it may do; ``used`` is when a pairing was taken up."""

    id: str
    account: str
    kind: TokenKind
    digest: str = field(repr=False)
    created: datetime
    name: str = ""
    device: str = ""
    most: Role = Role.KEEPER
    expires: datetime | None = None
    used: datetime | None = None
    withdrawn: datetime | None = None

    def stands(self, now: datetime) -> bool:
        """Whether it still opens anything."""
        return self.withdrawn is None and self.used is None and (self.expires is None or now < self.expires)


@dataclass(frozen=True)
class Caller:
    """Who asks: the account, its roles by tub (``ALL_TUBS`` for every one), and from where."""

    account: str
    name: str
    owner: bool = False
    roles: Mapping[str, Role] = field(default_factory=lambda: MappingProxyType({}))
    device: str = ""
    token: str = ""
    most: Role = Role.KEEPER

    def role(self, tub: str) -> Role | None:
        """The role on a tub: the greater of its own and the one on all, as far as the token goes."""
        own = [self.roles[key] for key in (tub, ALL_TUBS) if key in self.roles]
        found = Role.KEEPER if self.owner else max(own, key=_RANK.index, default=None)
        return None if found is None else lesser(found, self.most)

    def may(self, deed: Deed, tub: str) -> bool:
        """Whether this caller may."""
        return may(self.role(tub), deed)

    def demand(self, deed: Deed, tub: str) -> None:
        """Nothing, or NotAllowed."""
        if not self.may(deed, tub):
            raise NotAllowed(str(deed))

    def source(self, sequence: int | None = None, sent: datetime | None = None) -> Source:
        """The origin of what this caller enters; the device's own count and clock where it tells them."""
        return Source(self.account, self.device, sequence, sent)


class AccountStore(Protocol):
    """Keeps accounts, devices, tokens and roles; a value kept again under its id takes the place of the former."""

    def keep(self, value: Account | Device | Token) -> None:
        """Keep it.

        Raises:
            Conflict: another account has this name.
        """
        ...

    def keep_first(self, account: Account) -> bool:
        """Keep an account while nobody can log in; False if somebody can already: of two at once, one is the first.

        Raises:
            Conflict: another account has this name.
        """
        ...

    def accounts(self) -> list[Account]:
        """All of them, closed ones too, in the order they were made."""
        ...

    def account(self, id: str) -> Account | None:
        """One of them."""
        ...

    def named(self, key: str) -> Account | None:
        """The account whose name has this key."""
        ...

    def devices(self, account: str) -> list[Device]:
        """All of an account."""
        ...

    def tokens(self, account: str) -> list[Token]:
        """All of an account."""
        ...

    def token(self, digest: str) -> Token | None:
        """The token of a secret."""
        ...

    def spend(self, token: str, at: datetime) -> bool:
        """Mark a token as used; False if it was already: of two at once, one wins."""
        ...

    def roles(self, account: str) -> Mapping[str, Role]:
        """Its roles by tub."""
        ...

    def give_role(self, account: str, tub: str, role: Role | None) -> None:
        """Set a role on a tub, or take it away."""
        ...


class Passwords(Protocol):
    """Turns passwords into something that can be kept."""

    def hash(self, password: str) -> str:
        """A slow, salted hash."""
        ...

    def verify(self, kept: str, password: str) -> bool:
        """Whether it is the one; an empty ``kept`` takes as long and is never right."""
        ...

    def stale(self, kept: str) -> bool:
        """Whether the hash should be made anew, because the usual cost has risen."""
        ...
