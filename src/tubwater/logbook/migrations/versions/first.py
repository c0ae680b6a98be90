"""The first version: entries, accounts, devices, kits and tokens."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

__all__ = ["branch_labels", "depends_on", "down_revision", "revision", "upgrade"]

revision = "1"
down_revision: str | None = None
branch_labels: str | None = None
depends_on: str | None = None

_LONG = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Makes the tables."""
    _entries()
    _people()


def _text(name: str, *parts: sa.ForeignKey, null: bool = False, unique: bool = False) -> sa.Column[str]:
    return sa.Column(name, sa.Text(), *parts, nullable=null, unique=unique)


def _id() -> sa.Column[str]:
    return sa.Column("id", sa.Text(), primary_key=True)


def _account(null: bool = False) -> sa.Column[str]:
    return _text("account", sa.ForeignKey("account.id"), null=null)


def _entries() -> None:
    names = ("tub", "kind", "happened", "recorded", "actor", "device")
    op.create_table(
        "entry",
        sa.Column("place", _LONG, sa.Identity(), primary_key=True),
        _text("id", unique=True),
        *(_text(name) for name in names),
        sa.Column("sequence", _LONG),
        _text("sent", null=True),
        _text("body"),
        _text("after"),
        sqlite_strict=True,
    )
    op.create_index("entry_of_tub", "entry", ["tub", "place"])
    where = sa.text("kind IN ('tub', 'shelf')")
    columns = ["tub", "kind", "after"]
    op.create_index("entry_follows_one", "entry", columns, unique=True, sqlite_where=where, postgresql_where=where)


def _people() -> None:
    op.create_table(
        "account",
        _id(),
        _text("name"),
        _text("key", unique=True),
        _text("password"),
        sa.Column("owner", sa.Integer(), nullable=False),
        _text("created"),
        _text("closed", null=True),
        sqlite_strict=True,
    )
    op.create_table(
        "device", _id(), _account(), _text("name"), _text("joined"), _text("withdrawn", null=True), sqlite_strict=True
    )
    op.create_index("ix_device_account", "device", ["account"])
    kit = (_text("method"), _text("name"), _text("tub"), _account(null=True))
    op.create_table("kit", _id(), *kit, _text("opened", null=True), _text("spoils", null=True), sqlite_strict=True)
    _tokens()


def _tokens() -> None:
    ends = (_text(name, null=True) for name in ("expires", "used", "withdrawn"))
    op.create_table(
        "token",
        _id(),
        _account(),
        _text("kind"),
        _text("digest", unique=True),
        _text("created"),
        _text("name"),
        _text("device", sa.ForeignKey("device.id"), null=True),
        _text("most"),
        *ends,
        sqlite_strict=True,
    )
    op.create_index("ix_token_account", "token", ["account"])
