"""How sure a number is and where it comes from."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

__all__ = ["Basis", "BasisKind"]


class BasisKind(StrEnum):
    """How sure a number is, in the order of trust."""

    PUBLISHED = "published"
    REPORTED = "reported by a summary"
    COMMON_PRACTICE = "common practice"
    CALCULATION = "calculation"
    JUDGEMENT = "engineering judgement"
    FROM_MEMORY = "from memory"
    LABEL = "label"
    KEEPER = "stated by the keeper"


@dataclass(frozen=True)
class Basis:
    """Where a number comes from.

    Attributes:
        kind: how sure it is.
        sources: keys of ``facts/data/references.toml``; empty for practice and judgement.
        note: what was read or assumed, in plain words.
    """

    kind: BasisKind
    sources: tuple[str, ...] = ()
    note: str = ""

    @property
    def verified(self) -> bool:
        """False where the number must be shown as unverified."""
        return self.kind is not BasisKind.FROM_MEMORY
