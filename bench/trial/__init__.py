"""Hidden tubs that do not follow the project's model, kept for weeks by a guide, by its plans, and by a bound."""

from __future__ import annotations

__all__ = ["main", "run"]


def run() -> list[tuple[str, str]]:
    """A short trial: three tubs, three weeks; hours in band by policy."""
    from .command import short

    return short()


def main(options: list[str]) -> int:
    """The trial with its own options; ``--help`` lists them."""
    from .command import command

    return command(options)
