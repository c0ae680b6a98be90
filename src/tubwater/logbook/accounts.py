"""Accounts, devices, tokens, roles and kits in the database."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Row, Table, delete, func, insert, select, update

from tubwater.errors import Conflict
from tubwater.logbook import tables
from tubwater.logbook.engine import Database
from tubwater.logbook.entries import lock_key
from tubwater.services.people import Account, Device, Role, Token, TokenKind, name_key
from tubwater.services.storage import Kit

__all__ = ["SqlAccounts", "SqlKits"]

_TABLES: Mapping[type, Table] = {
    Account: tables.account,
    Device: tables.device,
    Token: tables.token,
    Kit: tables.kit,
}
_REFERENCES = {(Token, "device"), (Kit, "account")}  # "" is no row, which the database writes as NULL


class SqlAccounts:
    """An ``AccountStore`` in a database."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def keep(self, value: Account | Device | Token) -> None:
        """See ``AccountStore``."""
        self._database.write(lambda connection: _keep_named(connection, value))

    def keep_first(self, account: Account) -> bool:
        """See ``AccountStore``."""

        def work(connection: Connection) -> bool:
            if connection.dialect.name == "postgresql":  # SQLite has locked the whole file already
                connection.execute(select(func.pg_advisory_xact_lock(lock_key("first account"))))
            if any(_account_of(row).opens for row in connection.execute(select(tables.account))):
                return False
            _keep_named(connection, account)
            return True

        return self._database.write(work)

    def accounts(self) -> list[Account]:
        """See ``AccountStore``."""
        found = self._accounts()
        return sorted(found, key=lambda account: (account.created, account.id))

    def account(self, id: str) -> Account | None:
        """See ``AccountStore``."""
        return next(iter(self._accounts(id=id)), None)

    def named(self, key: str) -> Account | None:
        """See ``AccountStore``."""
        return next(iter(self._accounts(key=key)), None)

    def _accounts(self, **where: str) -> list[Account]:
        return [_account_of(row) for row in self._rows(tables.account, where)]

    def devices(self, account: str) -> list[Device]:
        """See ``AccountStore``."""
        found = [Device(**row._mapping) for row in self._rows(tables.device, {"account": account})]
        return sorted(found, key=lambda device: (device.joined, device.id))

    def tokens(self, account: str) -> list[Token]:
        """See ``AccountStore``."""
        found = [_token_of(row) for row in self._rows(tables.token, {"account": account})]
        return sorted(found, key=lambda token: (token.created, token.id))

    def token(self, digest: str) -> Token | None:
        """See ``AccountStore``."""
        return next((_token_of(row) for row in self._rows(tables.token, {"digest": digest})), None)

    def spend(self, token: str, at: datetime) -> bool:
        """See ``AccountStore``."""
        fresh = (tables.token.c.id == token) & tables.token.c.used.is_(None)
        change = update(tables.token).where(fresh).values(used=at)
        return self._database.write(lambda connection: connection.execute(change).rowcount == 1)

    def roles(self, account: str) -> Mapping[str, Role]:
        """See ``AccountStore``."""
        return {row.tub: Role(row.role) for row in self._rows(tables.role, {"account": account})}

    def give_role(self, account: str, tub: str, role: Role | None) -> None:
        """See ``AccountStore``."""
        here = (tables.role.c.account == account) & (tables.role.c.tub == tub)

        def work(connection: Connection) -> None:
            connection.execute(delete(tables.role).where(here))
            if role:
                connection.execute(insert(tables.role).values(account=account, tub=tub, role=str(role)))

        self._database.write(work)

    def _rows(self, table: Table, where: Mapping[str, str]) -> list[Row[Any]]:
        query = select(table).where(*(table.c[name] == value for name, value in where.items()))
        return self._database.read(lambda connection: list(connection.execute(query)))


class SqlKits:
    """A ``KitStore`` in a database."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def keep(self, kit: Kit) -> None:
        """See ``KitStore``."""
        self._database.write(lambda connection: _keep(connection, kit))

    def all(self) -> list[Kit]:
        """See ``KitStore``."""
        query = select(tables.kit).order_by(tables.kit.c.id)
        return self._database.read(lambda connection: [_kit_of(row) for row in connection.execute(query)])


def _keep_named(connection: Connection, value: Account | Device | Token) -> None:
    if isinstance(value, Account):
        taken = (tables.account.c.key == name_key(value.name)) & (tables.account.c.id != value.id)
        other = connection.execute(select(tables.account.c.id).where(taken)).scalar()
        if other:
            raise Conflict("account", other)
    _keep(connection, value)


def _keep(connection: Connection, value: Account | Device | Token | Kit) -> None:
    table, row = _TABLES[type(value)], _row_of(value)
    changed = connection.execute(update(table).where(table.c.id == value.id).values(row))
    if not changed.rowcount:
        connection.execute(insert(table).values(row))


def _row_of(value: Account | Device | Token | Kit) -> dict[str, Any]:
    row = {field.name: getattr(value, field.name) for field in dataclasses.fields(value)}
    for kind, name in _REFERENCES:
        if isinstance(value, kind):
            row[name] = row[name] or None
    return row | ({"key": name_key(value.name)} if isinstance(value, Account) else {})


def _account_of(row: Row[Any]) -> Account:
    return Account(**{name: value for name, value in row._mapping.items() if name != "key"})


def _token_of(row: Row[Any]) -> Token:
    parts = dict(row._mapping)
    return Token(**parts | {"kind": TokenKind(row.kind), "most": Role(row.most), "device": row.device or ""})


def _kit_of(row: Row[Any]) -> Kit:
    return Kit(**dict(row._mapping) | {"account": row.account or ""})
