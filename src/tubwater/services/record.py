"""The record of a tub: a sheet for each day with what its guideline wants of it, closures, samples, persons, water."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, tzinfo
from typing import TypeVar

from tubwater.advice.closures import Closure, closures_of
from tubwater.advice.now import Situation
from tubwater.advice.required import Check, CheckState, Day, checks_of
from tubwater.errors import InputError
from tubwater.facts import Guideline, guidelines
from tubwater.facts.record import RecordRules, record_rules
from tubwater.services.advise import case_of
from tubwater.services.papers import shut_spans
from tubwater.services.tubfile import TubFile
from tubwater.tub import (
    Answer,
    Appointed,
    Dosed,
    Drained,
    Event,
    Filled,
    OpeningHours,
    Paper,
    Quantity,
    Reading,
    Reagents,
    Sampled,
    Signed,
    Soaked,
    SourceWater,
    Tested,
    Tub,
)

__all__ = [
    "MOST_DAYS",
    "Check",
    "CheckState",
    "Closure",
    "Day",
    "DaySheet",
    "Noted",
    "Record",
    "RecordRules",
    "Signature",
    "WaterMoved",
    "asks_for_record",
    "record_of",
    "record_of_file",
    "windows_of",
]

MOST_DAYS = 400
_Paper = TypeVar("_Paper", bound=Paper)
_OXIDANTS = frozenset((Quantity.BROMINE, Quantity.FREE_CHLORINE, Quantity.TOTAL_CHLORINE))
_BY_EVENING = frozenset(("temperature", "bathers", "signed"))  # what still may come on a day that is not over
_WITHOUT_REAGENTS = frozenset(
    ("electrode", "electrode-uncalibrated", "thermometer", "panel-thermometer", "conductivity-meter", "utility-report")
)


@dataclass(frozen=True)
class Noted:
    """One entry, as it stands.

    Attributes:
        at: when it happened. said: what it says. first: what it said before it was corrected, or None.
        by: who entered it, or "". recorded: when, None where that is not known. late: on a later day than it happened.
        changed: when it was corrected or withdrawn, or None.
    """

    at: datetime
    said: Event | Paper
    by: str = ""
    recorded: datetime | None = None
    late: bool = False
    first: Event | Paper | None = None
    withdrawn: bool = False
    changed: datetime | None = None


@dataclass(frozen=True)
class Signature:
    """A sheet was signed. ``after``: how many entries of that day came, or were changed, after it."""

    signed: Signed
    by: str
    after: int


@dataclass(frozen=True)
class DaySheet:
    """One day.

    Attributes:
        checks: what the guideline wants of it. entries: what happened, in order.
        people: soaks as noted, added up. bathers: as somebody counted them, or None.
        closures: that ran on this day. person: who answers for the checks, or None.
    """

    day: Day
    checks: tuple[Check, ...]
    entries: tuple[Noted, ...]
    closures: tuple[Closure, ...]
    people: float
    bathers: float | None
    person: Appointed | None
    signatures: tuple[Signature, ...]

    @property
    def missing(self) -> tuple[Check, ...]:
        """What was not done, or too late."""
        return tuple(c for c in self.checks if c.state in (CheckState.MISSING, CheckState.LATE))


@dataclass(frozen=True)
class WaterMoved:
    """Litres filled in as metered and let out, L, and how many fills nobody metered."""

    litres_in: float
    litres_out: float
    unmetered: int


@dataclass(frozen=True)
class Record:
    """A span of days, times aware.

    Attributes:
        rules: what the guideline asks. days: the sheets, in order. closures, samples: of the span.
        persons, hours, sources: in force on any of its days.
    """

    as_of: datetime
    tub: Tub
    guideline: Guideline
    rules: RecordRules
    first: date
    last: date
    days: tuple[DaySheet, ...]
    closures: tuple[Closure, ...]
    samples: tuple[Sampled, ...]
    persons: tuple[Appointed, ...]
    hours: tuple[OpeningHours, ...]
    sources: tuple[SourceWater, ...]
    water: WaterMoved


def asks_for_record(tub: Tub) -> bool:
    """Whether the guideline of a tub asks for a record at all."""
    return record_rules()[tub.guideline].asks


def record_of_file(
    file: TubFile, now: datetime, first: date | None = None, last: date | None = None, zone: tzinfo | None = None
) -> Record:
    """The record of a keeper's file; see ``record_of``."""
    noted = [Noted(found.at, found) for found in (*file.entered, *file.papers)]
    windows = windows_of(file, lambda: case_of(file.tub, file.shelf, file.events, now))
    return record_of(file, noted, now, first, last, zone or now.tzinfo, windows=windows)


def windows_of(file: TubFile, case: Callable[[], Situation]) -> tuple[tuple[datetime, datetime], ...]:
    """In which no reading of the sanitizer counts, by the belief of today; asked only where something was dosed."""
    return case().windows if any(isinstance(event, Dosed) for event in file.events) else ()


def record_of(
    file: TubFile,
    noted: Sequence[Noted],
    now: datetime,
    first: date | None = None,
    last: date | None = None,
    zone: tzinfo | None = None,
    reagents: Sequence[Reagents] = (),
    since: datetime | None = None,
    windows: Sequence[tuple[datetime, datetime]] = (),
) -> Record:
    """The record from ``first`` to ``last``; without the one it is the last day alone, without the other until today.

    Args:
        noted: the entries, signatures too. now: aware. zone: where the tub is; None is this machine's own.
        reagents: strips and reagents in hand besides those of the file.
        since: when the logbook begins; with the first entry where not said.
        windows: in which no reading of the sanitizer counts; see ``windows_of``.

    Raises:
        InputError: days that are to come, out of order, more than ``MOST_DAYS``, or before the logbook begins.
    """
    made = _Maker(file, sorted(noted, key=lambda n: n.at), now, zone, (*file.reagents, *reagents), windows)
    began = min([now, *(n.at for n in noted), *([since] if since else [])])
    return made.record(*made.span(first, last, began))


@dataclass(frozen=True)
class _Maker:
    """What every sheet is made of."""

    file: TubFile
    noted: Sequence[Noted]
    now: datetime
    zone: tzinfo | None
    reagents: Sequence[Reagents]
    windows: Sequence[tuple[datetime, datetime]]

    def record(self, first: date, last: date) -> Record:
        """Everything from the first day to the last."""
        tub, samples = self.file.tub, tuple(self._papers(Sampled))
        shut = shut_spans([n.said for n in self.noted if isinstance(n.said, Paper) and not n.withdrawn])
        closures = closures_of(tub, self.file.events, samples, shut, self.windows)
        begins, ends = self._moment(first), self._moment(last + timedelta(days=1))
        days = (first + timedelta(days=n) for n in range((last - first).days + 1))
        return Record(
            as_of=self.now,
            tub=tub,
            guideline=guidelines()[tub.guideline],
            rules=self._rules,
            first=first,
            last=last,
            days=tuple(self._sheet(day, closures, samples) for day in days),
            closures=_running(closures, begins, ends),
            samples=tuple(s for s in samples if begins <= s.at < ends or begins <= s.taken < ends),
            persons=_in_force(self._papers(Appointed), begins, ends),
            hours=_in_force(self._papers(OpeningHours), begins, ends),
            sources=_in_force(self._papers(SourceWater), begins, ends),
            water=_water_moved(self.file, begins, ends),
        )

    def span(self, first: date | None, last: date | None, since: datetime) -> tuple[date, date]:
        """The days that are asked for, as far as there is a logbook."""
        today = self._date(self.now)
        end = last or today
        begin, began = first or end, self._date(since)
        if end > today:
            raise InputError.one("until", end.isoformat(), f"a day that is not to come ({today} at most)")
        if begin > end:
            raise InputError.one("from", begin.isoformat(), f"a day that is not after {end}")
        if end < began:
            raise InputError.one("until", end.isoformat(), f"a day since the logbook begins ({began})")
        if (end - max(begin, began)).days >= MOST_DAYS:
            raise InputError.one("from", begin.isoformat(), f"at most {MOST_DAYS} days")
        return max(begin, began), end

    @property
    def _rules(self) -> RecordRules:
        return record_rules()[self.file.tub.guideline]

    @property
    def _duties(self) -> Sequence[Event]:
        return [event for event in self.file.events if not self._of_guest(event)]

    def _of_guest(self, said: Event | Paper) -> bool:
        """Whether a guest read it where guests may not make the checks."""
        return self._rules.person is not None and isinstance(said, Tested) and said.guest

    def _date(self, at: datetime) -> date:
        return at.astimezone(self.zone).date()

    def _moment(self, day: date, clock: time = time()) -> datetime:
        at = datetime.combine(day, clock)
        return at.replace(tzinfo=self.zone) if self.zone else at.astimezone()

    def _papers(self, kind: type[_Paper]) -> list[_Paper]:
        return [n.said for n in self.noted if isinstance(n.said, kind) and not n.withdrawn]

    def _sheet(self, date: date, closures: Sequence[Closure], samples: Sequence[Sampled]) -> DaySheet:
        day = self._day(date, closures)
        signed = [n for n in self.noted if isinstance(n.said, Signed) and n.said.day == date]
        entries = tuple(n for n in self.noted if day.begins <= n.at < day.ends and not isinstance(n.said, Signed))
        bathers = next((n for n in map(_counted, reversed(signed)) if n is not None), None)
        person = next((p for p in reversed(self._papers(Appointed)) if p.at < day.until), None)
        found = checks_of(self._rules, self.file.tub, day, self._duties, samples, bathers is not None)
        standing = [n.said for n in entries if not n.withdrawn]
        duties = [said for said in standing if not self._of_guest(said)]
        return DaySheet(
            day=day,
            checks=(*found, *self._written(day, duties, person, bathers, bool(signed))),
            entries=entries,
            closures=_running(closures, day.begins, day.ends),
            people=sum(e.people for e in standing if isinstance(e, Soaked)),
            bathers=bathers,
            person=person if person and person.name else None,
            signatures=tuple(_signature(n, entries) for n in signed),
        )

    def _day(self, day: date, closures: Sequence[Closure]) -> Day:
        begins, ends = self._moment(day), self._moment(day + timedelta(days=1))
        hours = next((h for h in reversed(self._papers(OpeningHours)) if h.at < ends), None)
        shut = tuple((c.start, c.end) for c in closures)
        if hours is None:
            return Day(day, begins, ends, self.now, shut=shut)
        over_night = hours.closes <= hours.opens
        closes = self._moment(day + timedelta(days=1) if over_night else day, hours.closes)
        return Day(day, begins, ends, self.now, self._moment(day, hours.opens), closes, shut)

    def _written(
        self, day: Day, said: Sequence[Event | Paper], person: Appointed | None, bathers: float | None, signed: bool
    ) -> Iterator[Check]:
        """What has to be written down, as far as the logbook could be without it."""
        rule = self._rules.fields
        if rule is None:
            return
        tests = [test for test in said if isinstance(test, Tested)]
        readings = [reading for test in tests for reading in test.readings]
        source = any(p.at < day.until for p in self._papers(SourceWater)) or bool(self.file.tub.fill.values)
        has: dict[str, bool] = {
            "person": bool(person and person.name),
            "competence": bool(person and person.qualification),
            "scale": all(r.scale for r in readings if r.quantity in _OXIDANTS),
            "reagents": _dated(self.reagents, readings),
            "sampling": all(_told_how(test) for test in tests if _reads_oxidant(test)),
            "temperature": any(r.quantity is Quantity.TEMPERATURE for r in readings),
            "bathers": bathers is not None or any(isinstance(e, Soaked) for e in said),
            "source-water": source,
            "signed": signed,
        }
        for name in rule.words:
            yield Check(f"field-{name}", _state(has[name], name, day), rule.basis)


def _state(there: bool, name: str, day: Day) -> CheckState:
    if there:
        return CheckState.DONE
    return CheckState.TO_COME if name in _BY_EVENING and day.now < day.ends else CheckState.MISSING


def _reads_oxidant(test: Tested) -> bool:
    return any(reading.quantity in _OXIDANTS for reading in test.readings)


def _told_how(test: Tested) -> bool:
    """Whether it is known how the water was sampled."""
    return test.jets is not Answer.UNKNOWN and test.bathers is not None


def _dated(packs: Sequence[Reagents], readings: Sequence[Reading]) -> bool:
    """Whether of every method that needs reagents a pack with a date is known."""
    known = {pack.method for pack in packs if pack.opened or pack.expires}
    return {reading.method for reading in readings} - _WITHOUT_REAGENTS <= known


def _counted(noted: Noted) -> float | None:
    return noted.said.bathers if isinstance(noted.said, Signed) else None


def _signature(noted: Noted, entries: Sequence[Noted]) -> Signature:
    assert isinstance(noted.said, Signed)
    recorded = noted.recorded or noted.at
    after = sum((n.changed or n.recorded or n.at) > recorded for n in entries)
    return Signature(noted.said, noted.by, after)


def _running(closures: Sequence[Closure], begins: datetime, ends: datetime) -> tuple[Closure, ...]:
    return tuple(c for c in closures if c.start < ends and (c.end is None or c.end >= begins))


def _in_force(papers: Sequence[_Paper], begins: datetime, ends: datetime) -> tuple[_Paper, ...]:
    """Those of the span and the last one before it."""
    before = [paper for paper in papers if paper.at < begins]
    return (*before[-1:], *(paper for paper in papers if begins <= paper.at < ends))


def _water_moved(file: TubFile, begins: datetime, ends: datetime) -> WaterMoved:
    events = [event for event in file.events if begins <= event.at < ends]
    fills = [event.litres for event in events if isinstance(event, Filled)]
    out = sum(event.litres for event in events if isinstance(event, Drained))
    return WaterMoved(sum(litres or 0.0 for litres in fills), out, fills.count(None))
