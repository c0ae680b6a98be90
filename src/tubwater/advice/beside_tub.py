"""What is said beside a tub while a visit is carried out, and where the visit stands, as values."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from tubwater.tub import Plan, Reason, Step, StepKind

__all__ = ["Addition", "Ask", "HandedOver", "Phase", "Running", "Standing", "Status", "VisitEvent", "What"]


class What(StrEnum):
    """What somebody said beside the tub."""

    BEGUN = "begun"
    REPLANNED = "replanned"
    DONE = "done"
    OTHER_AMOUNT = "other amount"
    NOT_IN_HAND = "not in hand"
    SKIPPED = "skipped"
    NOT_SURE = "not sure"
    RETEST = "retest"
    ANSWERED = "answered"  # "no, it is not in": the step stands as before
    UNDONE = "undone"
    LEFT = "left"
    TAKEN_UP = "taken up"
    CLOSED = "closed"


class Status(StrEnum):
    """What became of a step."""

    AHEAD = "ahead"
    DONE = "done"
    OTHER_AMOUNT = "other amount"
    NOT_IN_HAND = "not in hand"
    SKIPPED = "skipped"
    NOT_SURE = "not sure"


class Phase(StrEnum):
    """Where a visit stands."""

    RUNNING = "running"
    LEFT = "left"  # handed over, nobody beside the tub
    FINISHED = "finished"  # every step has its answer and no wait runs
    CLOSED = "closed"


class Ask(StrEnum):
    """A question that comes before the step."""

    DID_YOU_ADD_IT = "did you add it"
    TEST_FIRST = "test first"  # the test is too old to dose by


@dataclass(frozen=True)
class VisitEvent:
    """One thing that was said.

    Attributes:
        id: of its entry. at: when it happened. by: the person, or empty. step: key of the step it is about.
        plan: for begun and replanned. grams: what went in. about: id of the entry that is undone or replanned after.
        because: why it was replanned. to: who takes over.
    """

    id: str
    what: What
    at: datetime
    by: str = ""
    step: str = ""
    plan: Plan | None = None
    grams: float = 0.0
    about: str = ""
    because: tuple[Reason, ...] = ()
    to: str = ""


@dataclass(frozen=True)
class Standing:
    """A step and what became of it.

    Attributes:
        key: "<plan>.<place>", the same for everybody. since: when its turn came, None while it is ahead.
        due: for a wait, when it is over. beside: a task of care that fills the wait before it.
    """

    key: str
    step: Step
    status: Status = Status.AHEAD
    at: datetime | None = None
    by: str = ""
    grams: float = 0.0
    entry: str = ""
    since: datetime | None = None
    due: datetime | None = None
    beside: bool = False

    @property
    def answered(self) -> bool:
        """Whether it has its answer."""
        return self.status is not Status.AHEAD


@dataclass(frozen=True)
class Addition:
    """What went into the tub. ``certain`` is False for "not sure"."""

    product: str
    substance: str
    grams: float
    at: datetime
    by: str
    certain: bool
    entry: str


@dataclass(frozen=True)
class HandedOver:
    """What is left to somebody else, and the condition under which people may get in."""

    to: str
    by: str
    at: datetime
    rest: tuple[Standing, ...]
    condition: tuple[Reason, ...]


@dataclass(frozen=True)
class Running:
    """A visit at one moment.

    Attributes:
        steps: answered ones and the rest of the newest plan, in order. at: index of the one whose turn it is, or None.
        asks: the question before it. replanned: why the rest is as it is.
        owes: the event that still asks for a new plan of the rest.
        dropped: open steps of earlier plans that a newer one took the place of.
        missing: products not in hand or left out in this visit. last: id of the entry that can be undone, or empty.
        doubted: an addition of so much more than was planned that it is asked about, until somebody says it is right.
    """

    begun: datetime
    begun_by: str
    phase: Phase
    plan: Plan
    steps: tuple[Standing, ...]
    at: int | None
    added: tuple[Addition, ...]
    asks: Ask | None = None
    replanned: tuple[Reason, ...] = ()
    owes: VisitEvent | None = None
    dropped: tuple[Standing, ...] = ()
    missing: frozenset[str] = frozenset()
    handed: HandedOver | None = None
    last: str = ""
    last_by: str = ""
    doubted: Standing | None = None

    @property
    def turn(self) -> Standing | None:
        """The step whose turn it is."""
        return None if self.at is None else self.steps[self.at]

    @property
    def due(self) -> datetime | None:
        """When the running wait is over."""
        turn = self.turn
        return turn.due if turn and turn.step.kind is StepKind.WAIT else None

    @property
    def beside(self) -> tuple[Standing, ...]:
        """Tasks of care that fill the running wait, or that are left for what closes the visit."""
        if self.at is None:
            return ()
        rest = self.steps[self.at + 1 :]
        end = next((n for n, s in enumerate(rest) if not s.beside), len(rest))
        return rest[:end]

    def of(self, key: str) -> Standing | None:
        """The step of a key, of the newest plan or an earlier one."""
        return next((s for s in (*self.steps, *self.dropped) if s.key == key), None)
