"""The composition root: the only module that joins the use cases and a face."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tubwater.services.storage import Storehouse

__all__ = ["main"]


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs the command line.

    Args:
        arguments: the words behind the command; those of this process if None.

    Returns:
        The exit code.
    """
    # Imported here: `--help` has to come at once, and importing is what takes time at a start.
    from tubwater.cli.app import run

    return run(sys.argv[1:] if arguments is None else list(arguments), _storehouse)


def _storehouse() -> Storehouse:
    from tubwater.logbook import SqlStorehouse

    return SqlStorehouse()
