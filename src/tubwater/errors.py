"""The exception tree.

    TubwaterError
    ├── InputError        something entered cannot be meant; carries every problem found
    ├── UnknownKey        a name that no table knows; carries the nearest names
    ├── ChemistryError    a water that cannot exist (negative totals, not finite)
    ├── UnknownEntry      a tub, an entry or a visit that the logbook does not hold
    ├── Conflict          somebody else changed the same thing meanwhile; carries what stands now
    ├── StoreUnavailable  the place where entries are kept cannot take one; nothing was kept
    ├── NotAllowed        the account that asks may not do this
    ├── WrongCredentials  a name, password or secret that opens nothing
    └── TooManyAttempts   too many wrong passwords of late; carries the seconds to wait

How a computation ended is a value, never an exception: exceptions are for misuse.
"""

from __future__ import annotations

import difflib
import json
from collections.abc import Iterable
from dataclasses import dataclass

__all__ = [
    "ChemistryError",
    "Conflict",
    "InputError",
    "NotAllowed",
    "Problem",
    "StoreUnavailable",
    "TooManyAttempts",
    "TubwaterError",
    "UnknownEntry",
    "UnknownKey",
    "WrongCredentials",
    "quoted",
]


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


def quoted(given: object) -> str:
    """What was entered, as a problem gives it back: a text in double quotes, anything else as it stands."""
    if not isinstance(given, str):
        return str(given).lower() if isinstance(given, bool) else str(given)
    return json.dumps(given, ensure_ascii=False) if given not in ("", "nothing") else "nothing"


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
        return cls([Problem(field, quoted(given), expected)])


class UnknownKey(TubwaterError):
    """A name that the table does not hold; ``nearest`` holds up to three like it."""

    def __init__(self, table: str, given: str, known: Iterable[str]) -> None:
        self.table = table
        self.given = given
        self.known: tuple[str, ...] = tuple(sorted(known))
        self.nearest: tuple[str, ...] = tuple(difflib.get_close_matches(given, self.known, n=3, cutoff=0.5))
        hint = f"; did you mean {' or '.join(self.nearest)}?" if self.nearest else ""
        super().__init__(f"no {table} is called {quoted(given)}{hint}")


class ChemistryError(TubwaterError):
    """A water that cannot exist."""


class UnknownEntry(TubwaterError):
    """A tub, an entry or a visit that the logbook does not hold."""

    def __init__(self, what: str, given: str) -> None:
        self.what, self.given = what, given
        super().__init__(f"the logbook holds no {what} {quoted(given)}")


class Conflict(TubwaterError):
    """Somebody else changed the same thing meanwhile; ``stands`` is the id of what stands now."""

    def __init__(self, what: str, stands: str) -> None:
        self.what, self.stands = what, stands
        super().__init__(f"{what} was changed by somebody else meanwhile; look at it and enter the change again")


class StoreUnavailable(TubwaterError):
    """The place where entries are kept cannot take one now; nothing was kept."""


class NotAllowed(TubwaterError):
    """The account that asks may not do this; ``deed`` is what it asked for."""

    def __init__(self, deed: str) -> None:
        self.deed = deed
        super().__init__("this account may not do that")


class WrongCredentials(TubwaterError):
    """A name, password or secret that opens nothing; it is never said which part is wrong."""

    def __init__(self) -> None:
        super().__init__("name and password do not match, or the session is over")


class TooManyAttempts(TubwaterError):
    """Too many wrong passwords of late; ``seconds`` is how long to wait."""

    def __init__(self, seconds: float) -> None:
        self.seconds = seconds
        super().__init__(f"too many wrong passwords; try again in {max(1, round(seconds / 60.0))} min")
