"""The logbook in a database: SQLite in one file, or PostgreSQL by one URL."""

from tubwater.logbook.logbook import SqlLogbook, SqlStorehouse, open_logbook

__all__ = ["SqlLogbook", "SqlStorehouse", "open_logbook"]
