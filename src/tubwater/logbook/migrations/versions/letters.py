"""The third version: letters that went out, or that somebody is sending."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

__all__ = ["branch_labels", "depends_on", "down_revision", "revision", "upgrade"]

revision = "3"
down_revision: str | None = "2"
branch_labels: str | None = None
depends_on: str | None = None


def upgrade() -> None:
    """Makes the table of letters."""
    op.create_table(
        "letter",
        sa.Column("id", sa.Text(), primary_key=True),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("sent", sa.Integer(), nullable=False),
        sqlite_strict=True,
    )
