"""The place of a logbook as a face may handle it: open it, copy it, check it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import Protocol

from tubwater.services.columns import SheetFiles
from tubwater.services.letters import LetterStore
from tubwater.services.people import AccountStore, Passwords
from tubwater.services.ports import EntryStore, SnapshotStore

__all__ = ["Fault", "Finding", "Kit", "KitStore", "Logbook", "Storehouse"]


class Fault(StrEnum):
    """What can be wrong with a place."""

    DAMAGED = "damaged"  # the file itself
    REFERENCE = "reference"  # a row that points to one that is not there
    BODY = "body"  # an entry that cannot be read
    ORDER = "order"  # a tub or shelf entry that does not come after the one it names
    MEANING = "meaning"  # entries that read well but cannot be meant
    VERSION = "version"  # the tables are not those of this version


@dataclass(frozen=True)
class Finding:
    """One thing wrong: where it stands, and what was found there."""

    fault: Fault
    where: str
    found: str


@dataclass(frozen=True)
class Kit:
    """A test kit in somebody's hands: what it is, for which tub ("" for any), since when open, until when good."""

    id: str
    method: str
    name: str = ""
    tub: str = ""
    account: str = ""
    opened: datetime | None = None
    spoils: datetime | None = None


class KitStore(Protocol):
    """Keeps test kits; one kept again under its id takes the place of the former."""

    def keep(self, kit: Kit) -> None:
        """Keep it."""
        ...

    def all(self) -> list[Kit]:
        """Every kit in the order of ids."""
        ...


class Logbook(Protocol):
    """An open place. It may be used by many threads at once."""

    @property
    def entries(self) -> EntryStore:
        """What happened."""
        ...

    @property
    def snapshots(self) -> SnapshotStore:
        """Beliefs that can be computed again."""
        ...

    @property
    def accounts(self) -> AccountStore:
        """Who may do what."""
        ...

    @property
    def kits(self) -> KitStore:
        """Test kits."""
        ...

    @property
    def letters(self) -> LetterStore:
        """Letters that went out."""
        ...

    def backup(self, target: Path) -> int:
        """Copy everything into a new file while others go on writing; the number of entries in it.

        Raises:
            InputError: the file is there already. StoreUnavailable.
        """
        ...

    def check(self) -> tuple[Finding, ...]:
        """All that is wrong with the place; nothing is changed."""
        ...

    def close(self) -> None:
        """Let go of every connection."""
        ...


class Storehouse(Protocol):
    """Opens places. A place is the path of a file, or the URL of a PostgreSQL database."""

    def open(self, place: str | Path) -> Logbook:
        """The logbook there; a new one where there is none.

        Raises:
            StoreUnavailable: it cannot be opened, and why.
        """
        ...

    def restore(self, backup: Path, place: str | Path) -> int:
        """Fill an empty place from a backup; the number of entries.

        Raises:
            InputError: the backup cannot be read, or the place is not empty. StoreUnavailable.
        """
        ...

    @property
    def sheets(self) -> SheetFiles:
        """Files of tables."""
        ...

    @property
    def passwords(self) -> Passwords:
        """What makes and checks hashes of passwords."""
        ...

    def default_place(self) -> str:
        """Where a logbook is kept if nobody says otherwise."""
        ...
