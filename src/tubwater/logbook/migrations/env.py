"""What Alembic runs; the connection, in a transaction, comes from ``tubwater.logbook.migrate``."""

from __future__ import annotations

from alembic import context

__all__: list[str] = []


def _run() -> None:
    connection = context.config.attributes["connection"]
    context.configure(connection=connection, render_as_batch=True)
    with context.begin_transaction():
        context.run_migrations()


if __name__ == "env_py":  # the name under which Alembic loads this file; an import does nothing
    _run()
