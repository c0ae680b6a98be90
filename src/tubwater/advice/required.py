"""What a guideline wants of one day, and what of it was done: pure, from the events and the hours of the day."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum

from tubwater.facts import Basis
from tubwater.facts.record import CheckRule, Germ, RecordRules, SampleRule
from tubwater.tub import Clarity, Event, Noticed, Quantity, Sampled, Sanitizer, Soaked, Tested, Tub

__all__ = ["Check", "CheckState", "Day", "checks_of"]

_TOGETHER = timedelta(minutes=15)  # readings this close are one test (judgement)


class CheckState(StrEnum):
    """Where something that is wanted stands."""

    DONE = "done"
    LATE = "late"
    MISSING = "missing"
    TO_COME = "to come"


@dataclass(frozen=True)
class Day:
    """One day of a tub, times aware.

    Attributes:
        begins, ends: of the day where the tub is kept. opens, closes: of the tub, None where nobody said.
        now: what is later has not happened yet. shut: spans in which people were kept out; an end of None is open.
    """

    day: date
    begins: datetime
    ends: datetime
    now: datetime
    opens: datetime | None = None
    closes: datetime | None = None
    shut: tuple[tuple[datetime, datetime | None], ...] = ()

    @property
    def until(self) -> datetime:
        """The end of the day, or now."""
        return min(self.ends, self.now)

    def shut_at(self, at: datetime) -> bool:
        """Whether nobody was let in at that time."""
        return any(start <= at and (end is None or at < end) for start, end in self.shut)

    def shut_throughout(self, opens: datetime, closes: datetime) -> bool:
        """Whether nobody was let in between the two."""
        return any(start <= opens and (end is None or end >= closes) for start, end in self.shut)


@dataclass(frozen=True)
class Check:
    """One thing that is wanted of a day.

    Attributes:
        key: of the rule. due: by when, None for some time of the day or where it was never done.
        made: when it was done, or last. number, of: which of several a day.
    """

    key: str
    state: CheckState
    basis: Basis
    due: datetime | None = None
    made: datetime | None = None
    number: int = 1
    of: int = 1


def checks_of(
    rules: RecordRules,
    tub: Tub,
    day: Day,
    events: Sequence[Event],
    samples: Sequence[Sampled] = (),
    bathers_counted: bool = False,
) -> tuple[Check, ...]:
    """Everything that the rules want of ``day``, in the order of the rules and of time.

    Args:
        bathers_counted: somebody stated how many were in, so that no soak has to be noted.
    """
    known = [event for event in events if event.at <= day.now]
    found: list[Check] = []
    for rule in rules.tests:
        if rule.applies(tub.setting, tub.sanitizer):
            found += _of_rule(rule, tub, day, known, bathers_counted)
    return (*found, *(_of_samples(rule, day, samples) for rule in rules.samples))


def _of_rule(rule: CheckRule, tub: Tub, day: Day, events: Sequence[Event], counted: bool) -> Iterator[Check]:
    if rule.days:
        yield _within_days(rule, day, [_last(events, (name,), tub, day) for name in rule.reads])
        return
    made = _made(rule, tub, events)
    if rule.hours:
        yield from _while_open(rule, day, made, events)
    if rule.times and not (rule.bathers and counted):
        yield from _each_day(rule, day, [at for at in made if day.begins <= at < day.ends])
    elif rule.times:
        yield Check(rule.key, CheckState.DONE, rule.basis)


def _made(rule: CheckRule, tub: Tub, events: Iterable[Event]) -> list[datetime]:
    """When it was done, in order."""
    if rule.looks:
        return sorted(e.at for e in events if isinstance(e, Noticed) and e.clarity is not Clarity.UNKNOWN)
    if rule.bathers:
        return sorted(e.at for e in events if isinstance(e, Soaked))
    return _tests(events, rule.reads, tub)


def _tests(events: Iterable[Event], reads: Sequence[str], tub: Tub) -> list[datetime]:
    """When all of ``reads`` had been read together."""
    wanted = {_quantity(name, tub) for name in reads}
    tests = sorted((e for e in events if isinstance(e, Tested)), key=lambda e: e.at)
    times = [test.at for test in tests]
    found = []
    for place, test in enumerate(tests):
        near = tests[bisect_left(times, test.at - _TOGETHER) : place + 1]
        own = {r.quantity for r in test.readings}
        if own & wanted and wanted <= {r.quantity for t in near for r in t.readings}:
            found.append(test.at)
    return found


def _quantity(name: str, tub: Tub) -> Quantity:
    if name != "sanitizer":
        return Quantity(name)
    return Quantity.BROMINE if tub.sanitizer is Sanitizer.BROMINE else Quantity.FREE_CHLORINE


def _each_day(rule: CheckRule, day: Day, made: Sequence[datetime]) -> Iterator[Check]:
    """So many on the day, at any time of it; one is enough where nobody was let in."""
    shut = day.shut_throughout(day.opens or day.begins, day.closes or day.ends)
    wanted = 1 if shut else rule.times
    open_still = CheckState.TO_COME if day.now < day.ends else CheckState.MISSING
    for number in range(wanted):
        at = made[number] if number < len(made) else None
        yield Check(rule.key, CheckState.DONE if at else open_still, rule.basis, None, at, number + 1, wanted)


def _while_open(rule: CheckRule, day: Day, made: Sequence[datetime], events: Iterable[Event]) -> Iterator[Check]:
    """One before it opens, then none later than so many hours after the one before, and one at closing."""
    opens, closes = _open_span(day, events)
    if opens is None or closes is None or day.shut_throughout(opens, closes):
        return
    step = timedelta(hours=rule.hours)
    due = opens if rule.opening else opens + step
    while due <= closes:
        check, last = _one_due(rule, due, step, made, day.now)
        if check.state is not CheckState.MISSING or not day.shut_at(due):
            yield check
        if check.state is CheckState.TO_COME:
            break
        due = last + step
    if rule.closing and not day.shut_at(closes):
        yield _closing(rule, day, closes, made)


def _open_span(day: Day, events: Iterable[Event]) -> tuple[datetime | None, datetime | None]:
    """When the tub is open; where nobody said, from the first soak of the day to the end of the last."""
    if day.opens is not None and day.closes is not None:
        return day.opens, day.closes
    soaks = [e for e in events if isinstance(e, Soaked) and day.begins <= e.at < day.ends]
    if not soaks:
        return None, None
    return min(e.at for e in soaks), max(e.at + timedelta(minutes=e.minutes) for e in soaks)


def _one_due(
    rule: CheckRule, due: datetime, step: timedelta, made: Sequence[datetime], now: datetime
) -> tuple[Check, datetime]:
    """What became of one, and from when on the next counts."""
    before = [at for at in made if due - step < at <= due]
    after = [at for at in made if due < at < due + step]
    if before:
        return Check(rule.key, CheckState.DONE, rule.basis, due, before[-1]), before[-1]
    if after:
        return Check(rule.key, CheckState.LATE, rule.basis, due, after[0]), after[0]
    return Check(rule.key, CheckState.TO_COME if now < due else CheckState.MISSING, rule.basis, due), due


def _closing(rule: CheckRule, day: Day, closes: datetime, made: Sequence[datetime]) -> Check:
    ends = max(day.ends, closes + timedelta(minutes=rule.closing))
    at = next((at for at in made if closes - timedelta(minutes=rule.closing) <= at < ends), None)
    open_still = CheckState.TO_COME if day.now < ends else CheckState.MISSING
    return Check(f"{rule.key}-closing", CheckState.DONE if at else open_still, rule.basis, closes, at)


def _last(events: Iterable[Event], reads: Sequence[str], tub: Tub, day: Day) -> datetime | None:
    return max((at for at in _tests(events, reads, tub) if at < day.ends), default=None)


def _within_days(rule: CheckRule | SampleRule, day: Day, last: Sequence[datetime | None]) -> Check:
    """Done not more days ago than the rule allows; of several, the oldest counts."""
    known = [at for at in last if at is not None]
    if len(known) < len(last) or not known:
        return Check(rule.key, CheckState.MISSING, rule.basis)
    oldest = min(known)
    due = oldest + timedelta(days=rule.days)
    done = due >= day.begins
    return Check(rule.key, CheckState.DONE if done else CheckState.MISSING, rule.basis, due, oldest)


def _of_samples(rule: SampleRule, day: Day, samples: Sequence[Sampled]) -> Check:
    return _within_days(rule, day, [_last_sample(germ, day, samples) for germ in rule.germs])


def _last_sample(germ: Germ, day: Day, samples: Sequence[Sampled]) -> datetime | None:
    """When a sample was taken that was looked through for a germ; one that waits for its result counts for each."""
    taken = (s.taken for s in samples if s.taken < day.until and (germ in s.counts or not s.counts))
    return max(taken, default=None)
