"""The exception tree.

    TubwaterError
    ├── InputError        something entered cannot be meant; carries every problem found
    ├── UnknownKey        a name that no table knows; carries the nearest names
    └── ChemistryError    a water that cannot exist (negative totals, not finite)

How a computation ended is a value, never an exception: exceptions are for misuse.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass

__all__ = ["ChemistryError", "InputError", "Problem", "TubwaterError", "UnknownKey"]


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong with what was entered.

    Attributes:
        field: where it stands, as the keeper wrote it ("tub.litres", "readings[2].value").
        given: what was entered, as text.
        expected: what would have been understood, as a clause without a full stop.
    """

    field: str
    given: str
    expected: str

    def __str__(self) -> str:
        return f"{self.field}: got {self.given}, expected {self.expected}."


class TubwaterError(Exception):
    """Anything Tubwater refuses on purpose."""


class InputError(TubwaterError):
    """Entered data that cannot be meant; ``problems`` holds all of them, not the first."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))

    @classmethod
    def one(cls, field: str, given: object, expected: str) -> InputError:
        """An error with a single problem."""
        return cls([Problem(field, repr(given) if isinstance(given, str) else str(given), expected)])


class UnknownKey(TubwaterError):
    """A name that the table does not hold; ``nearest`` holds up to three like it."""

    def __init__(self, table: str, given: str, known: Iterable[str]) -> None:
        self.table = table
        self.given = given
        self.known: tuple[str, ...] = tuple(sorted(known))
        self.nearest: tuple[str, ...] = tuple(difflib.get_close_matches(given, self.known, n=3, cutoff=0.5))
        hint = f"; did you mean {' or '.join(self.nearest)}?" if self.nearest else ""
        super().__init__(f"no {table} is called {given!r}{hint}")


class ChemistryError(TubwaterError):
    """A water that cannot exist."""
