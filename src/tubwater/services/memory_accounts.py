"""An ``AccountStore`` in memory: for a try, for tests, and as the plainest statement of what it does."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from threading import Lock

from tubwater.errors import Conflict
from tubwater.services.people import Account, Device, Role, Token, name_key

__all__ = ["MemoryAccounts"]


class MemoryAccounts:
    """Forgets at the end of the process."""

    def __init__(self) -> None:
        self._accounts: dict[str, Account] = {}
        self._devices: dict[str, Device] = {}
        self._tokens: dict[str, Token] = {}
        self._roles: dict[tuple[str, str], Role] = {}
        self._lock = Lock()

    def keep(self, value: Account | Device | Token) -> None:
        """See ``AccountStore``."""
        with self._lock:
            if isinstance(value, Account):
                self._keep_account(value)
            elif isinstance(value, Device):
                self._devices[value.id] = value
            else:
                self._tokens[value.id] = value

    def _keep_account(self, account: Account) -> None:
        known = self.named(name_key(account.name))
        if known and known.id != account.id:
            raise Conflict("account", known.id)
        self._accounts[account.id] = account

    def keep_first(self, account: Account) -> bool:
        """See ``AccountStore``."""
        with self._lock:
            if any(known.opens for known in self.accounts()):
                return False
            self._keep_account(account)
            return True

    def accounts(self) -> list[Account]:
        """See ``AccountStore``."""
        return list(self._accounts.values())

    def account(self, id: str) -> Account | None:
        """See ``AccountStore``."""
        return self._accounts.get(id)

    def named(self, key: str) -> Account | None:
        """See ``AccountStore``."""
        return next((a for a in self.accounts() if name_key(a.name) == key), None)

    def devices(self, account: str) -> list[Device]:
        """See ``AccountStore``."""
        return [d for d in list(self._devices.values()) if d.account == account]

    def tokens(self, account: str) -> list[Token]:
        """See ``AccountStore``."""
        return [t for t in list(self._tokens.values()) if t.account == account]

    def token(self, digest: str) -> Token | None:
        """See ``AccountStore``."""
        return next((t for t in list(self._tokens.values()) if t.digest == digest), None)

    def spend(self, token: str, at: datetime) -> bool:
        """See ``AccountStore``."""
        with self._lock:
            known = self._tokens[token]
            if known.used:
                return False
            self._tokens[token] = replace(known, used=at)
            return True

    def roles(self, account: str) -> Mapping[str, Role]:
        """See ``AccountStore``."""
        return {tub: role for (who, tub), role in list(self._roles.items()) if who == account}

    def give_role(self, account: str, tub: str, role: Role | None) -> None:
        """See ``AccountStore``."""
        with self._lock:
            self._roles.pop((account, tub), None)
            if role:
                self._roles[(account, tub)] = role
