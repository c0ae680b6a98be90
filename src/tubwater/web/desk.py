"""What every page needs: the use cases, the answers already computed, and the keeper's time zone."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, tzinfo
from typing import Annotated

from fastapi import Depends, Request

from tubwater.services.accounts import Accounts
from tubwater.services.answers import Answers
from tubwater.services.keeping import Keeping
from tubwater.services.ports import Kind, Source
from tubwater.services.storage import Kit, KitStore
from tubwater.services.tubfile import TubFile
from tubwater.tub import Plan, Verdict
from tubwater.web.drawn import Drawn

__all__ = ["Desk", "Here", "desk_of"]


@dataclass(frozen=True)
class Desk:
    """Attributes:
    kits: which kit a tub is tested with.
    accounts: who may do what; None where there are none.
    zone: the zone in which times are shown and read; None is this machine's own.
    drawn: pages that were drawn of answers.
    """

    keeping: Keeping
    answers: Answers
    kits: KitStore
    zone: tzinfo | None = None
    accounts: Accounts | None = None
    drawn: Drawn = field(default_factory=Drawn)

    def now(self) -> datetime:
        """Now, in the keeper's zone."""
        return self.local(self.keeping.clock.now())

    def local(self, at: datetime) -> datetime:
        """A time in the keeper's zone."""
        return at.astimezone(self.zone)

    def called(self, actor: str, device: str = "") -> str:
        """Who entered something, in a name; "" where there is none."""
        return self.accounts.called(actor, device) if self.accounts else ""

    def file(self, tub: str) -> TubFile:
        """The logbook of a tub as a keeper's file, the same one for a minute where nothing is entered.

        Raises:
            UnknownEntry: there is no such tub.
        """
        return self.answers.besides(tub, "file", lambda: self.keeping.file(tub))

    def method(self, tub: str) -> str:
        """The method that a tub was tested with last, or that its keeper named; "" where neither is known."""
        kit = next((kit for kit in self.kits.all() if kit.id == _kit_id(tub)), None)
        return kit.method if kit else ""

    def remember(self, tub: str, method: str) -> None:
        """The method is offered first from now on."""
        if method and method != self.method(tub):
            self.kits.keep(Kit(_kit_id(tub), method, tub=tub))

    def scale(self, tub: str, method: str) -> str:
        """The oxidant scale of the newest test with a method; "" where it was never said."""
        tests = (line for line in reversed(self.keeping.history(tub)) if line.stored.entry.kind is Kind.TEST)
        return next((str(x.body["scale"]) for x in tests if x.body.get("method") == method and "scale" in x.body), "")

    def showed(self, request: Request, tub: str, what: str, value: Verdict | Plan) -> None:
        """Keeps what was shown, once for each state of the logbook and each kind of verdict."""
        verdict = value if isinstance(value, Verdict) else value.verdict
        if self.answers.shown_first(tub, what, str(verdict.kind)):
            self.keeping.shown(tub, what, value, self.source(request))

    def source(self, request: Request) -> Source:
        """By whom and from where a request comes; a phone says its own name, count and clock with what it kept."""
        said = request.headers
        device = getattr(request.state, "device", "") or said.get("x-device", "")[:100]
        count = said.get("x-sequence", "")
        sequence = int(count) if count.isdecimal() and len(count) < 13 else None
        return Source(getattr(request.state, "actor", ""), device, sequence, _sent_at(said.get("x-sent", "")))


def desk_of(request: Request) -> Desk:
    """The desk of the application that a request came to."""
    found: Desk = request.app.state.desk
    return found


async def _desk(request: Request) -> Desk:
    """The same as a dependency; asynchronous, so that no thread is woken for it."""
    return desk_of(request)


def _sent_at(text: str) -> datetime | None:
    """The phone's own time; None where it is no time."""
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        return None
    return found if found.tzinfo else None


def _kit_id(tub: str) -> str:
    return f"{tub}-kit"


Here = Annotated[Desk, Depends(_desk)]
