"""What every page needs: the use cases, the answers already computed, and the keeper's time zone."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Annotated

from fastapi import Depends, Request

from tubwater.services.answers import Answers
from tubwater.services.keeping import Keeping
from tubwater.services.ports import Source

__all__ = ["Desk", "Here", "desk_of"]


@dataclass(frozen=True)
class Desk:
    """Attributes:
    zone: the zone in which times are shown and read; None is this machine's own.
    """

    keeping: Keeping
    answers: Answers
    zone: tzinfo | None = None

    def now(self) -> datetime:
        """Now, in the keeper's zone."""
        return self.local(self.keeping.clock.now())

    def local(self, at: datetime) -> datetime:
        """A time in the keeper's zone."""
        return at.astimezone(self.zone)

    def source(self, request: Request) -> Source:
        """By whom and from where a request comes."""
        return Source(actor=getattr(request.state, "actor", ""), device=getattr(request.state, "device", ""))


def desk_of(request: Request) -> Desk:
    """The desk of the application that a request came to."""
    found: Desk = request.app.state.desk
    return found


Here = Annotated[Desk, Depends(desk_of)]
