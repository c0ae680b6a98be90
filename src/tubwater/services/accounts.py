"""Who may do what: accounts, roles on tubs, sessions, paired devices and tokens for programs.

A secret is shown once, to whom it was made for; only its digest (SHA-256 of 256 random bits) is kept.
"""

from __future__ import annotations

import secrets
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import timedelta
from hashlib import sha256

from tubwater.errors import Conflict, InputError, NotAllowed, UnknownEntry, WrongCredentials
from tubwater.services.attempts import Attempts
from tubwater.services.people import (
    ALL_TUBS,
    Account,
    AccountStore,
    Caller,
    Deed,
    Device,
    Passwords,
    Role,
    Token,
    TokenKind,
    lesser,
    name_key,
)
from tubwater.services.ports import Clock, Names

__all__ = ["LONGEST_PASSWORD", "SHORTEST_PASSWORD", "Accounts", "Opened", "digest_of"]

# Engineering judgement, like the times below: a passphrase, and no limit that a person would meet.
SHORTEST_PASSWORD, LONGEST_PASSWORD = 12, 256
_LONGEST_NAME = 60
_SESSION = timedelta(days=30)
_PAIRED = timedelta(days=400)
_PAIRING = timedelta(minutes=10)
_HERE = "here"
_OPENS_ALL = frozenset({TokenKind.SESSION, TokenKind.PROGRAM})


def digest_of(secret: str) -> str:
    """What is kept of a secret."""
    return sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()


def _fresh_secret() -> str:
    return secrets.token_urlsafe(32)


@dataclass(frozen=True)
class Opened:
    """A token just made: the secret, which nobody can ask for again, and what is kept of it."""

    secret: str = field(repr=False)
    token: Token


@dataclass(frozen=True)
class Accounts:
    """The use cases. ``by`` is who asks; NotAllowed is raised where a rule stands against it."""

    store: AccountStore
    passwords: Passwords
    clock: Clock
    names: Names
    attempts: Attempts = field(default_factory=Attempts)
    fresh_secret: Callable[[], str] = _fresh_secret

    # Accounts

    def exist(self) -> bool:
        """Whether somebody can log in with a password; before that, only this computer may be served."""
        return any(a.opens for a in self.store.accounts())

    def here(self) -> Caller:
        """Whoever sits at this computer, before there is an account: the owner, who has no password."""
        known = self.store.account(_HERE)
        if known is None:
            known = Account(_HERE, "this computer", "", True, self.clock.now())
            self.store.keep(known)
        return self._caller(known)

    def add(self, name: str, password: str, by: Caller | None = None, owner: bool = False) -> Account:
        """A new account. The first needs nobody to ask for it, and owns the logbook.

        Raises:
            InputError: name or password cannot be taken. Conflict: the name is taken. NotAllowed.
        """
        first = not self.exist()
        if not first:
            _demand_owner(by)
        name = _checked_name(name)
        _check_password(password, name)
        if self.store.named(name_key(name)):
            raise Conflict("account", name)
        kept = self.passwords.hash(password)
        account = Account(self.names.fresh(), name, kept, owner or first, self.clock.now())
        if not first:
            self.store.keep(account)
        elif not self.store.keep_first(account):
            raise NotAllowed("accounts")
        return account

    def people(self, by: Caller) -> list[Account]:
        """Every account, for an owner; for others their own."""
        return [a for a in self.store.accounts() if by.owner or a.id == by.account]

    def persons(self, by: Caller) -> list[Account]:
        """The accounts that are somebody's and still open, as far as ``people`` tells them."""
        return [a for a in self.people(by) if a.closed is None and a.id != _HERE]

    def called(self, account: str, device: str = "") -> str:
        """The name of an account and of its device, for a reader; "" for whoever sits at this computer."""
        found = None if account == _HERE else self.store.account(account)
        joined = (d.name for d in self.store.devices(account) if d.id == device) if device else ()
        return ", ".join(name for name in (found.name if found else "", next(iter(joined), "")) if name)

    def close(self, account: str, by: Caller) -> Account:
        """Nobody can use it any more; what it entered stays.

        Raises:
            InputError: it is the last one that owns the logbook.
        """
        _demand_owner(by)
        found = self._account(account)
        others = [a for a in self.store.accounts() if a.owner and a.opens and a.id != account]
        if found.owner and not others:
            raise InputError.one("account", found.name, "an account that is not the last owner's")
        closed = replace(found, closed=self.clock.now())
        self.store.keep(closed)
        return closed

    def set_password(self, account: str, new: str, by: Caller, old: str = "") -> None:
        """A new password; all sessions of the account but the one that asks end.

        An owner may set that of others; whoever sets his own has to know the old one.
        """
        found = self._account(account)
        if by.account != account:
            _demand_owner(by)
        elif not self.passwords.verify(found.password, old):
            raise WrongCredentials
        _check_password(new, found.name)
        self.store.keep(replace(found, password=self.passwords.hash(new)))
        for token in self.store.tokens(account):
            if token.kind is TokenKind.SESSION and token.id != by.token:
                self._withdraw(token)

    # Roles

    def grant(self, account: str, tub: str, role: Role | None, by: Caller) -> None:
        """Gives a role on a tub, on ``ALL_TUBS``, or takes it away (None). A keeper may do so for the own tub."""
        if not by.owner and (tub == ALL_TUBS or not by.may(Deed.KEEP, tub)):
            raise NotAllowed("grant")
        self._account(account)
        self.store.give_role(account, tub, role)

    def roles(self, tub: str, by: Caller) -> Mapping[str, Role]:
        """Role by account on a tub."""
        by.demand(Deed.KEEP, tub)
        found = {a.id: self._caller(a).role(tub) for a in self.store.accounts() if not a.closed}
        return {account: role for account, role in found.items() if role}

    def role_on(self, account: str, tub: str) -> Role | None:
        """What an account is to a tub, for whoever may read what it entered there."""
        found = None if account == _HERE else self.store.account(account)
        return self._caller(found).role(tub) if found else None

    def roles_of(self, account: str, by: Caller) -> Mapping[str, Role]:
        """Role by tub of an account, for an owner."""
        _demand_owner(by)
        return self.store.roles(account)

    # Sessions and devices

    def log_in(self, name: str, password: str, address: str = "") -> Opened:
        """A session for a name and password.

        Raises:
            WrongCredentials: one of them is wrong (never which). TooManyAttempts: of late, too often.
        """
        now, key = self.clock.now(), name_key(name)
        self.attempts.check(key, address, now)
        account = self.store.named(key)
        kept = account.password if account and not account.closed else ""
        if not self.passwords.verify(kept, password[: LONGEST_PASSWORD + 1]) or account is None:
            self.attempts.failed(key, address, now)
            raise WrongCredentials
        self.attempts.passed(key, address)
        if self.passwords.stale(kept):
            self.store.keep(replace(account, password=self.passwords.hash(password)))
        return self._open(account.id, TokenKind.SESSION, _SESSION)

    def who(self, secret: str) -> Caller:
        """Who holds this secret of a session or of a program.

        Raises:
            WrongCredentials: it is unknown, over or withdrawn.
        """
        token = self.store.token(digest_of(secret))
        if token is None or token.kind not in _OPENS_ALL or not token.stands(self.clock.now()):
            raise WrongCredentials
        account = self.store.account(token.account)
        if account is None or account.closed:
            raise WrongCredentials
        return self._caller(account, token)

    def log_out(self, secret: str) -> None:
        """Ends a session; one that is over already is no error."""
        token = self.store.token(digest_of(secret))
        if token and token.kind is TokenKind.SESSION:
            self._withdraw(token)

    def offer_pairing(self, by: Caller) -> Opened:
        """A secret with which one phone can join this account, once, within ten minutes.

        Raises:
            NotAllowed: a program asks, or nobody has an account yet.
        """
        self._refuse_program(by, "pair")
        if by.account == _HERE:
            raise NotAllowed("pair")
        return self._open(by.account, TokenKind.PAIRING, _PAIRING, most=by.most)

    def pair(self, secret: str, device: str) -> Opened:
        """A session for a phone that shows the secret of an offer.

        Raises:
            WrongCredentials: the offer is unknown, over or used up. InputError: the name of the device.
        """
        now, offer = self.clock.now(), self.store.token(digest_of(secret))
        name = _checked_name(device)
        if offer is None or offer.kind is not TokenKind.PAIRING or not offer.stands(now):
            raise WrongCredentials
        account = self.store.account(offer.account)
        if account is None or account.closed or not self.store.spend(offer.id, now):
            raise WrongCredentials
        joined = Device(self.names.fresh(), offer.account, name, now)
        self.store.keep(joined)
        return self._open(offer.account, TokenKind.SESSION, _PAIRED, joined.id, name, offer.most)

    def devices(self, by: Caller) -> list[Device]:
        """The devices of an account that are still joined."""
        return [d for d in self.store.devices(by.account) if not d.withdrawn]

    def withdraw_device(self, device: str, by: Caller) -> None:
        """A lost phone: its sessions end."""
        found = next((d for a in self.people(by) for d in self.store.devices(a.id) if d.id == device), None)
        if found is None:
            raise UnknownEntry("device", device)
        self.store.keep(replace(found, withdrawn=self.clock.now()))
        for token in self.store.tokens(found.account):
            if token.device == device:
                self._withdraw(token)

    # Tokens for programs

    def make_token(self, name: str, by: Caller, most: Role = Role.KEEPER, days: int | None = None) -> Opened:
        """A secret for a program: it may do what the account may, but no more than ``most``."""
        name = _checked_name(name)
        if days is not None and not 1 <= days <= 3650:
            raise InputError.one("days", days, "1 to 3650 days")
        lasts = None if days is None else timedelta(days=days)
        return self._open(by.account, TokenKind.PROGRAM, lasts, name=name, most=lesser(most, by.most))

    def tokens(self, by: Caller) -> list[Token]:
        """The tokens for programs of an account that still stand."""
        now = self.clock.now()
        return [t for t in self.store.tokens(by.account) if t.kind is TokenKind.PROGRAM and t.stands(now)]

    def withdraw_token(self, token: str, by: Caller) -> None:
        """From now on it opens nothing."""
        found = next((t for a in self.people(by) for t in self.store.tokens(a.id) if t.id == token), None)
        if found is None:
            raise UnknownEntry("token", token)
        self._withdraw(found)

    # Calendars

    def make_calendar(self, tub: str, by: Caller) -> Opened:
        """A secret with which a calendar can read what is due at one tub, and nothing else.

        Raises:
            NotAllowed: a program asks, or the tub is not the caller's to see.
        """
        self._refuse_program(by, "calendar")
        by.demand(Deed.READ, tub)
        return self._open(by.account, TokenKind.CALENDAR, None, name=tub, most=Role.READER)

    def calendars(self, tub: str, by: Caller) -> list[Token]:
        """The calendars of an account, or for an owner of all, that still read a tub."""
        now = self.clock.now()
        mine = (token for account in self.people(by) for token in self.store.tokens(account.id))
        return [t for t in mine if t.kind is TokenKind.CALENDAR and t.name == tub and t.stands(now)]

    def reads_calendar(self, secret: str, tub: str) -> bool:
        """Whether a secret opens the calendar of a tub; it ends with the role of whoever made it."""
        token = self.store.token(digest_of(secret))
        if token is None or token.kind is not TokenKind.CALENDAR or token.name != tub:
            return False
        account = self.store.account(token.account)
        if account is None or account.closed or not token.stands(self.clock.now()):
            return False
        return self._caller(account, token).may(Deed.READ, tub)

    def _refuse_program(self, by: Caller, what: str) -> None:
        kinds = {token.id: token.kind for token in self.store.tokens(by.account)}
        if kinds.get(by.token) is TokenKind.PROGRAM:
            raise NotAllowed(what)

    def _open(
        self,
        account: str,
        kind: TokenKind,
        lasts: timedelta | None,
        device: str = "",
        name: str = "",
        most: Role = Role.KEEPER,
    ) -> Opened:
        now, secret = self.clock.now(), self.fresh_secret()
        expires = None if lasts is None else now + lasts
        token = Token(self.names.fresh(), account, kind, digest_of(secret), now, name, device, most, expires)
        self.store.keep(token)
        return Opened(secret, token)

    def _withdraw(self, token: Token) -> None:
        if not token.withdrawn:
            self.store.keep(replace(token, withdrawn=self.clock.now()))

    def _account(self, id: str) -> Account:
        found = self.store.account(id)
        if found is None:
            raise UnknownEntry("account", id)
        return found

    def _caller(self, account: Account, token: Token | None = None) -> Caller:
        roles = self.store.roles(account.id)
        if token is None:
            return Caller(account.id, account.name, account.owner, roles)
        owner = account.owner and token.most is Role.KEEPER and token.kind is TokenKind.SESSION
        own = {ALL_TUBS: Role.KEEPER} if account.owner else roles
        return Caller(account.id, account.name, owner, own, token.device, token.id, token.most)


def _demand_owner(by: Caller | None) -> None:
    if by is None or not by.owner:
        raise NotAllowed("accounts")


def _checked_name(name: str) -> str:
    name = unicodedata.normalize("NFC", name).strip()
    if not 1 <= len(name) <= _LONGEST_NAME or not name.isprintable():
        raise InputError.one("name", name[:80], f"1 to {_LONGEST_NAME} letters, digits or signs")
    return name


def _check_password(password: str, name: str) -> None:
    if not SHORTEST_PASSWORD <= len(password) <= LONGEST_PASSWORD:
        expected = f"{SHORTEST_PASSWORD} to {LONGEST_PASSWORD} characters, such as four words that belong to nobody"
        raise InputError.one("password", f"{len(password)} characters", expected)
    if name_key(password) == name_key(name) or len(set(password)) < 4:
        raise InputError.one("password", "one that is easy to guess", "another than the name or one sign repeated")
