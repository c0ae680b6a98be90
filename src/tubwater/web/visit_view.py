"""What one screen of a visit shows, for a step as it stands online or as a packet foresees it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from tubwater.reports import units as numbers
from tubwater.reports.text import text_of
from tubwater.services.kits import asked_of
from tubwater.services.tested import last_readings
from tubwater.services.tubfile import TubFile, UnitSystem
from tubwater.services.visits import Ask, Phase, Running, Standing
from tubwater.tub import Amount, Step, StepKind
from tubwater.web.forms import Sent
from tubwater.web.pads import Field, field_of

__all__ = [
    "Screen",
    "Where",
    "counts",
    "fields_for",
    "kind_of",
    "screen_of",
    "visit_words",
    "weight_parts",
    "words_for_phone",
]

_PHONE = (
    *("stop.title", "stop.more", "offline.end", "offline.end.more", "packet.ready", "packet.open", "packet.not"),
    *("wait.over", "wait.over.lead", "wait.hours", "wait.left", "wait.alarm", "wait.alarm.on"),
    *("queue.one", "queue.more", "queue.kept", "queue.parked", "queue.drop", "queue.retry"),
    *("queue.clock", "queue.clock.yes", "queue.clock.no"),
)
_RUNS = (StepKind.VENT, StepKind.AERATE, StepKind.HEAT)  # something runs for the minutes that the step says
_RUNNING_TASKS = frozenset({"jets-off-ten"})


@dataclass(frozen=True)
class Where:
    """Where the forms of a screen go: the tub, the visit, the key of the step, its number and how many there are."""

    tub: str
    visit: str
    key: str
    number: str
    count: str


@dataclass(frozen=True)
class Screen:
    """One screen.

    Attributes:
        kind: "dose", "feeder", "wait", "test", "task", "asks", "stale". wait: minutes of the wait after it.
        due: when a wait is over. then: the step after a wait. tasks: what fills it, or is left for the end.
        fields: of a test. method: what it is tested with. before: the addition that a wait belongs to.
        amount: what was typed as another amount and refused.
    """

    kind: str
    where: Where
    step: Step
    wait: float = 0.0
    due: datetime | None = None
    then: Step | None = None
    tasks: tuple[Standing, ...] = ()
    fields: tuple[Field, ...] = ()
    method: str = ""
    before: Standing | None = None
    amount: str = ""

    @property
    def runs(self) -> bool:
        """Whether the step says minutes that have to pass, so that it has a timer."""
        return self.step.minutes > 0.0 and (self.step.kind in _RUNS or self.step.task in _RUNNING_TASKS)


def visit_words(kind: str, **values: object) -> str:
    """A text of the visit's pages."""
    return text_of("visit", kind, values)


def words_for_phone() -> dict[str, str]:
    """The texts that the browser fills itself, with their gaps, and the language they are in."""
    gaps = {"count": "%COUNT%", "text": "%TEXT%", "minutes": "%MINUTES%", "hours": "%HOURS%"}
    return {"lang": text_of("web", "lang"), **{name: text_of("visit", name, gaps) for name in _PHONE}}


def weight_parts(amount: Amount, units: object) -> tuple[str, str]:
    """The number and the unit of an amount, apart, so that the number can stand large."""
    system = UnitSystem(str(units))
    if amount.measure == "tablet":
        return numbers.fraction(amount.count), text_of("amount", "tablet" if amount.count <= 1.0 else "tablets")
    text = (
        numbers.millilitres(amount.millilitres, system) if amount.millilitres else numbers.grams(amount.grams, system)
    )
    number, _, unit = text.partition(" ")
    return number, unit


def kind_of(step: Step) -> str:
    """Which screen a step has."""
    kinds = {StepKind.DOSE: "dose", StepKind.SET_FEEDER: "feeder", StepKind.WAIT: "wait", StepKind.TEST: "test"}
    return kinds.get(step.kind, "task")


def screen_of(
    file: TubFile, tub: str, visit: str, state: Running, method: str, sent: Sent | None = None
) -> Screen | None:
    """The screen of the step whose turn it is, with what was ``sent`` and refused; None where there is none."""
    row = state.turn
    if row is None or state.phase is not Phase.RUNNING:
        return None
    counted = [s for s in state.steps if counts(s)]
    number = sum(counts(s) for s in state.steps[: (state.at or 0) + 1])
    where = Where(tub, visit, row.key, str(max(number, 1)), str(len(counted)))
    kind = {Ask.DID_YOU_ADD_IT: "asks", Ask.TEST_FIRST: "stale"}.get(state.asks, "") if state.asks else ""
    ahead = [s for s in state.steps[(state.at or 0) + 1 :] if not s.beside and not s.answered]
    asked = state.doubted.key if state.doubted else ""  # the page asks about it already
    added = {one.entry for one in state.added}
    before = [s for s in state.steps if s.entry in added and s.key != asked]
    return Screen(
        kind or kind_of(row.step),
        where,
        row.step,
        wait=ahead[0].step.minutes if ahead and ahead[0].step.kind is StepKind.WAIT else 0.0,
        due=row.due,
        then=next((s.step for s in ahead if s.step.kind is not StepKind.WAIT), None),
        tasks=state.beside,
        fields=fields_for(file, row.step, method, stale=kind == "stale", sent=sent),
        method=method,
        before=max(before, key=lambda s: s.at or state.begun, default=None),
        amount=sent.text("amount") if sent else "",
    )


def fields_for(
    file: TubFile, step: Step, method: str, stale: bool = False, sent: Sent | None = None
) -> tuple[Field, ...]:
    """What is asked at a test: its quantities as far as the method reads them; everything for a stale plan."""
    if step.kind is not StepKind.TEST and not stale:
        return ()
    last = last_readings(file.events)
    asked = asked_of(method, file.tub, () if stale else step.quantities) or asked_of(method, file.tub)
    return tuple(field_of(one, last.get(one.quantity), sent) for one in asked)


def counts(row: Standing) -> bool:
    """Whether a row is one of the steps that are counted for whoever carries them out."""
    return not row.beside and row.step.kind is not StepKind.WAIT
