"""The second version: roles on single tubs."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

__all__ = ["branch_labels", "depends_on", "down_revision", "revision", "upgrade"]

revision = "2"
down_revision: str | None = "1"
branch_labels: str | None = None
depends_on: str | None = None


def upgrade() -> None:
    """Makes the table of roles."""
    op.create_table(
        "role",
        sa.Column("account", sa.Text(), sa.ForeignKey("account.id"), primary_key=True),
        sa.Column("tub", sa.Text(), primary_key=True),
        sa.Column("role", sa.Text(), nullable=False),
        sqlite_strict=True,
    )
