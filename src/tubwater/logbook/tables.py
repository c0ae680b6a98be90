"""The tables. Times are texts in ISO 8601 with their offset, so that an entry comes back as it was entered.

SQLite keeps them as STRICT tables, which know INTEGER, REAL, TEXT and BLOB only; so no other types are used.
"""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import (
    BigInteger,
    Column,
    Dialect,
    ForeignKey,
    Identity,
    Index,
    Integer,
    MetaData,
    Table,
    Text,
    TypeDecorator,
    UniqueConstraint,
    text,
)

__all__ = ["METADATA", "Flag", "Moment", "account", "device", "entry", "kit", "letter", "role", "token"]

METADATA = MetaData()
_Long = BigInteger().with_variant(Integer(), "sqlite")


class Moment(TypeDecorator[datetime]):
    """An aware time as ISO text with its offset."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> str | None:
        """A time without an offset is a mistake of the program."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"a time without an offset: {value}")
        return value.isoformat()

    def process_result_value(self, value: str | None, dialect: Dialect) -> datetime | None:
        """The time with the offset that it was entered with."""
        return None if value is None else datetime.fromisoformat(value)


class Flag(TypeDecorator[bool]):
    """True or false as 1 or 0."""

    impl = Integer
    cache_ok = True

    def process_bind_param(self, value: bool | None, dialect: Dialect) -> int | None:
        """1 or 0."""
        return None if value is None else int(value)

    def process_result_value(self, value: int | None, dialect: Dialect) -> bool | None:
        """A bool, which SQLite does not have."""
        return None if value is None else bool(value)


def _table(name: str, *parts: Column[object] | Index | UniqueConstraint) -> Table:
    return Table(name, METADATA, *parts, sqlite_strict=True)


_DESCRIPTIONS = text("kind IN ('tub', 'shelf')")

entry = _table(
    "entry",
    Column("place", _Long, Identity(), primary_key=True),
    Column("id", Text, nullable=False, unique=True),
    Column("tub", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("happened", Moment, nullable=False),
    Column("recorded", Moment, nullable=False),
    Column("actor", Text, nullable=False),
    Column("device", Text, nullable=False),
    Column("sequence", _Long),
    Column("sent", Moment),
    Column("body", Text, nullable=False),
    Column("after", Text, nullable=False),
    Index("entry_of_tub", "tub", "place"),
    # Of two who change the same description at once, the database itself lets only one through.
    Index(
        "entry_follows_one",
        "tub",
        "kind",
        "after",
        unique=True,
        sqlite_where=_DESCRIPTIONS,
        postgresql_where=_DESCRIPTIONS,
    ),
)

account = _table(
    "account",
    Column("id", Text, primary_key=True),
    Column("name", Text, nullable=False),
    Column("key", Text, nullable=False, unique=True),
    Column("password", Text, nullable=False),
    Column("owner", Flag, nullable=False),
    Column("created", Moment, nullable=False),
    Column("closed", Moment),
)

device = _table(
    "device",
    Column("id", Text, primary_key=True),
    Column("account", Text, ForeignKey("account.id"), nullable=False, index=True),
    Column("name", Text, nullable=False),
    Column("joined", Moment, nullable=False),
    Column("withdrawn", Moment),
)

kit = _table(
    "kit",
    Column("id", Text, primary_key=True),
    Column("method", Text, nullable=False),
    Column("name", Text, nullable=False),
    Column("tub", Text, nullable=False),
    Column("account", Text, ForeignKey("account.id")),
    Column("opened", Moment),
    Column("spoils", Moment),
)

token = _table(
    "token",
    Column("id", Text, primary_key=True),
    Column("account", Text, ForeignKey("account.id"), nullable=False, index=True),
    Column("kind", Text, nullable=False),
    Column("digest", Text, nullable=False, unique=True),
    Column("created", Moment, nullable=False),
    Column("name", Text, nullable=False),
    Column("device", Text, ForeignKey("device.id")),
    Column("most", Text, nullable=False),
    Column("expires", Moment),
    Column("used", Moment),
    Column("withdrawn", Moment),
)

role = _table(
    "role",
    Column("account", Text, ForeignKey("account.id"), primary_key=True),
    Column("tub", Text, primary_key=True),
    Column("role", Text, nullable=False),
)

letter = _table(
    "letter",
    Column("id", Text, primary_key=True),
    Column("at", Moment, nullable=False),
    Column("sent", Flag, nullable=False),
)
