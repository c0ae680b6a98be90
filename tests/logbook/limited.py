"""Appends under a limit on the size of files until the store refuses; prints how many were acknowledged, and the error.

python limited.py PLACE BYTES
"""

from __future__ import annotations

import resource
import sys
from datetime import UTC, datetime

from tubwater.errors import StoreUnavailable
from tubwater.logbook import open_logbook
from tubwater.services.ports import Entry, Kind

__all__: list[str] = []

NOW = datetime(2026, 11, 25, tzinfo=UTC)


def main(place: str, most: int) -> None:
    """Writes until nothing goes any more."""
    logbook = open_logbook(place)
    resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))
    for number in range(100_000):
        entry = Entry(f"e{number}", "larch", Kind.NOTICED, NOW, {"note": "x" * 2000})
        try:
            logbook.entries.append([entry], NOW)
        except StoreUnavailable as error:
            print(number, error)
            return


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
