"""The record in words: headings, lines and tables as plain data, for paper, a page, a table or a terminal."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from tubwater.facts import Basis
from tubwater.facts.record import CheckRule, RecordRules, SampleRule
from tubwater.reports import units as show
from tubwater.reports.record_lines import (
    entry_line,
    found_words,
    germ_words,
    reading_cells,
    reading_words,
    source_words,
    water_words,
)
from tubwater.reports.text import explain, method_or, sentence, text_of, tub_named, upper_first
from tubwater.services.accounts import Accounts
from tubwater.services.papers import found_too_much
from tubwater.services.record import Check, CheckState, Closure, DaySheet, Noted, Record, Signature
from tubwater.services.tubfile import UnitSystem
from tubwater.tub import Dosed, OpeningHours, Quantity, Reason, Sampled, Tested

__all__ = ["named_with_role", "record_words"]

_DOSED = frozenset((Quantity.BROMINE, Quantity.FREE_CHLORINE, Quantity.TOTAL_CHLORINE, Quantity.PH))
Local = Callable[[datetime], datetime]
Words = dict[str, Any]


def record_words(record: Record, local: Local = lambda at: at, units: UnitSystem = UnitSystem.METRIC) -> Words:
    """Everything of the record as texts, lists and tables.

    Args:
        local: turns a time into that of the place of the tub.
    """
    return _Writer(record, local, units).all()


def named_with_role(accounts: Accounts | None, tub: str, actor: str, device: str) -> str:
    """Who entered something at a tub, with what that account is to it; "" where there is no name."""
    name = accounts.called(actor, device) if accounts else ""
    role = accounts.role_on(actor, tub) if accounts and name else None
    return f"{name} ({text_of('record-role', role.value)})" if role else name


@dataclass(frozen=True)
class _Writer:
    record: Record
    local: Local
    units: UnitSystem

    def all(self) -> Words:
        """The whole."""
        record, tub = self.record, self.record.tub
        name, kind = upper_first(tub_named(tub.name)), text_of("web", f"sanitizer.{tub.sanitizer.value}")
        guideline = f"{text_of('guideline', record.guideline.key)}, {record.guideline.edition}"
        return {
            "lang": self.say("lang"),
            "date": self.local(record.as_of).date().isoformat(),
            "title": self.say("title", name=name),
            "name": name,
            "span": self._span(),
            "subtitle": self.say("subtitle", litres=tub.litres, sanitizer=kind, guideline=guideline),
            "made": self.say("made", at=self.local(record.as_of).isoformat()),
            "summary": self._summary(),
            "days": [self._day(sheet) for sheet in record.days],
            "closures": self._closures(record.closures),
            "samples": self._samples(),
            "persons": {"head": self.say("persons"), "lines": [*self._persons(), *self._hours()]},
            "source": {"head": self.say("source"), "lines": list(self._source())},
            "asked": {"head": self.say("asks"), "lines": list(self._asked())},
            "columns": self._columns(),
            "blank": self.say("blank"),
            "page": self.say("page"),
            "foot": f"{self.say('facts')} {self.say('foot')}",
            "unverified": self.say("unverified"),
        }

    def _span(self) -> str:
        first, last = self.record.first, self.record.last
        return show.day(first) if first == last else self.say("span", first=first.isoformat(), last=last.isoformat())

    def say(self, kind: str, section: str = "record", **values: object) -> str:
        """A text of the catalogue."""
        return text_of(section, kind, values, self.units)

    def moment(self, at: datetime) -> str:
        """A time where the tub is, with its year: a record is kept for years."""
        local = self.local(at)
        return f"{show.day(local)}, {local:%H:%M}"

    # One day

    def _day(self, sheet: DaySheet) -> Words:
        return {
            "day": sheet.day.day.isoformat(),
            "head": f"{show.day(sheet.day.day)}",
            "missing": {
                "head": self.say("missing" if self.record.rules.asks else "what-is-asked"),
                "lines": list(self._missing(sheet)),
            },
            "to_come": {"head": self.say("to-come"), "lines": self._to_come(sheet)},
            "checks": self._checks(sheet),
            "entries": self._entries(sheet),
            "readings": list(self._readings(sheet)),
            "notes": list(self._notes(sheet)),
            "closures": self._closures(sheet.closures),
            "signed": {"head": self.say("signatures"), "lines": list(self._signed(sheet))},
            "person": self._person_of(sheet),
        }

    def _missing(self, sheet: DaySheet) -> Iterator[str]:
        if not self.record.rules.asks:
            yield f"{self.say('asks-none')} {self.say('nothing-asked')}"
            return
        for check in sheet.missing:
            state = self.say(check.state.value, "record-state")
            when = self._when(check, sheet)
            yield f"{self._what(check)}: {state}" if when == "–" else f"{self._what(check)}: {when} ({state})"
        if not sheet.missing:
            yield self.say("missing-none" if sheet.day.now >= sheet.day.ends else "missing-so-far")

    def _to_come(self, sheet: DaySheet) -> list[str]:
        coming = [check for check in sheet.checks if check.state is CheckState.TO_COME]
        return [
            self._what(check) if check.due is None else f"{self._what(check)}: {self._due(check, sheet)}"
            for check in coming
        ]

    def _columns(self) -> Words:
        """Headings that every day shares, and names of the pages of a table."""
        return {
            "checks": [self.say(f"wanted-{name}") for name in ("what", "due", "made", "state")],
            "entries": [self.say(f"entry-{name}") for name in ("time", "what", "by")[: 3 if self._any_named() else 2]],
            "readings": [
                self.say("entry-time"),
                *(self.say(f"read-{name}") for name in ("quantity", "value", "unit", "scale", "method")),
            ],
            **{name: self.say(f"page-{name}") for name in ("wanted", "entered", "read", "about")},
            "signed": self.say("signatures"),
        }

    def _checks(self, sheet: DaySheet) -> Words:
        rows = [
            [
                self._what(check),
                self._due(check, sheet),
                self._made(check, sheet),
                self.say(check.state.value, "record-state"),
            ]
            for check in sheet.checks
        ]
        return {"head": self.say("wanted"), "rows": rows}

    def _what(self, check: Check) -> str:
        what = self._named(check.key) + ("" if check.basis.verified else "\u00a0*")
        return self.say("numbered", what=what, number=check.number, of=check.of) if check.of > 1 else what

    def _named(self, key: str) -> str:
        germs = next((rule.germs for rule in self.record.rules.samples if rule.key == key), ())
        return self.say(key, "record-check", list=", ".join(map(germ_words, germs)))

    def _when(self, check: Check, sheet: DaySheet) -> str:
        if check.state is CheckState.LATE:
            return f"{self._due(check, sheet)}, {self._made(check, sheet)}"
        return self._due(check, sheet)

    def _due(self, check: Check, sheet: DaySheet) -> str:
        if check.due is not None:
            return self._on(sheet, check.due)
        if check.key.startswith("field-"):
            return "–"
        return self.say("never-done" if check.key in self._rare() and check.made is None else "any-time")

    def _rare(self) -> set[str]:
        """What is wanted every so many days."""
        tests, samples = self.record.rules.tests, self.record.rules.samples
        return {rule.key for rule in tests if rule.days} | {rule.key for rule in samples}

    def _made(self, check: Check, sheet: DaySheet) -> str:
        return self._on(sheet, check.made) if check.made else "–"

    def _on(self, sheet: DaySheet, at: datetime) -> str:
        """The time alone, where it is of the day of the sheet."""
        local = self.local(at)
        return f"{local:%H:%M}" if local.date() == sheet.day.day else self.moment(at)

    def _entries(self, sheet: DaySheet) -> Words:
        by = [[n.by or "–"] if self._any_named() else [] for n in sheet.entries]
        rows = [
            [f"{self.local(n.at):%H:%M}", self._entry(sheet, n), *who] for n, who in zip(sheet.entries, by, strict=True)
        ]
        return {"head": self.say("entries"), "rows": rows, "none": self.say("entries-none")}

    def _readings(self, sheet: DaySheet) -> Iterator[list[str | float]]:
        """What was read and stands, one row a reading, for whoever computes with it."""
        for noted in sheet.entries:
            if isinstance(noted.said, Tested) and not noted.withdrawn:
                for reading in noted.said.readings:
                    yield [f"{self.local(reading.at):%H:%M}", *reading_cells(reading)]

    def _any_named(self) -> bool:
        """Whether it is known of any entry who made it: a keeper's file and a logbook without accounts name nobody."""
        return any(noted.by for sheet in self.record.days for noted in sheet.entries)

    def _entry(self, sheet: DaySheet, noted: Noted) -> str:
        marks = [self.say("after-dose", "record-entry", minutes=m) for m in _after_dose(sheet, noted)]
        marks += [self.say("withdrawn")] if noted.withdrawn else []
        marks += [self.say("corrected", first=entry_line(noted.first, self.units))] if noted.first else []
        marks += [self.say("late", at=self.local(noted.recorded).isoformat())] if noted.late and noted.recorded else []
        line = entry_line(noted.said, self.units).rstrip(".")
        return f"{line} ({'; '.join(marks)})" if marks else line

    def _notes(self, sheet: DaySheet) -> Iterator[str]:
        if sheet.people:
            yield self.say("people-one" if sheet.people == 1 else "people", people=sheet.people)
        if sheet.bathers is not None:
            yield self.say("bathers", bathers=sheet.bathers)
        tests = (n.said for n in sheet.entries if isinstance(n.said, Tested) and not n.withdrawn)
        used = {reading.method for test in tests for reading in test.readings}
        refused = self.record.rules.refused
        if refused and used & set(refused.words):
            yield self.say("strips", list=", ".join(map(method_or, sorted(used & set(refused.words)))))

    def _signed(self, sheet: DaySheet) -> Iterator[str]:
        for one in sheet.signatures:
            yield self._signature(one)
        if not sheet.signatures:
            yield self.say("signed-not")

    def _signature(self, one: Signature) -> str:
        at = self.local(one.signed.at).isoformat()
        said = self.say("signed", name=one.signed.name, at=at, by=one.by, remark=one.signed.remark) + "."
        if not one.after:
            return said
        return f"{said} {self.say('signed-after-one' if one.after == 1 else 'signed-after', count=one.after)}"

    def _person_of(self, sheet: DaySheet) -> str:
        one = sheet.person
        if one is None:
            return self.say("person-none")
        since = self.local(one.at).date().isoformat()
        return self.say("person", name=one.name, qualification=one.qualification, since=since) + "."

    # The whole span

    def _summary(self) -> Words:
        rows = [
            [
                show.day(sheet.day.day),
                "; ".join(dict.fromkeys(self._what(check) for check in sheet.missing)) or "–",
                str(len(sheet.closures)) if sheet.closures else "–",
                ", ".join(one.signed.name for one in sheet.signatures) or "–",
            ]
            for sheet in self.record.days
        ]
        columns = [self.say(f"summary-{name}") for name in ("day", "missing", "closures", "signed")]
        return {"head": self.say("days"), "columns": columns, "rows": rows}

    def _closures(self, closures: Sequence[Closure]) -> Words:
        columns = [self.say(f"closure-{name}") for name in ("start", "why", "settled", "end")]
        rows = [self._closure(one) for one in closures]
        return {"head": self.say("closures"), "columns": columns, "rows": rows, "none": self.say("closures-none")}

    def _closure(self, one: Closure) -> list[str]:
        why = sentence(one.reason, self.units)
        settled = self.moment(one.settled) if one.settled else self.say("closure-not-settled")
        settled = f"{settled}: {one.how}" if one.how else settled
        end = self._retest(one.end) if one.end else self.say("closure-open")
        if one.of_laboratory:
            end = f"{end}, {self._clear_sample(one)}"
        return [self.moment(one.start), why, settled, end]

    def _retest(self, at: datetime) -> str:
        """When it was made and, of a day of this record, what it read."""
        noted = (n for sheet in self.record.days for n in sheet.entries if not n.withdrawn)
        test = next((n.said for n in noted if isinstance(n.said, Tested) and n.said.at == at), None)
        read = [reading_words(r, self.units) for r in test.readings if r.quantity in _DOSED] if test else []
        return ": ".join(part for part in (self.moment(at), ", ".join(read)) if part)

    def _clear_sample(self, one: Closure) -> str:
        if one.sample is None:
            return self.say("closure-no-sample")
        return self.say("closure-sample", at=self.local(one.sample).isoformat())

    def _samples(self) -> Words:
        columns = [self.say(f"sample-{name}") for name in ("taken", "by", "found", "with")]
        rows = [self._sample(one) for one in self.record.samples]
        return {"head": self.say("samples"), "columns": columns, "rows": rows, "none": self.say("samples-none")}

    def _sample(self, one: Sampled) -> list[str]:
        found = ", ".join(found_words(one, found_too_much(one, self.record.tub.guideline)))
        with_it = []
        if one.sanitizer is not None:
            sanitizer = text_of("web", f"sanitizer.{self.record.tub.sanitizer.value}")
            with_it.append(self.say("sample-residual", sanitizer=sanitizer, value=one.sanitizer))
        with_it += [self.say("sample-ph", value=one.ph)] if one.ph is not None else []
        by = ", ".join(part for part in (one.laboratory, one.report, one.point) if part)
        return [self.moment(one.taken), by or "–", found or self.say("sample-waits"), ", ".join(with_it) or "–"]

    def _persons(self) -> Iterator[str]:
        named = [one for one in self.record.persons if one.name]
        for one in named:
            since = self.local(one.at).date().isoformat()
            yield self.say("person", name=one.name, qualification=one.qualification, since=since) + "."
        if not named:
            yield self.say("person-none")

    def _hours(self) -> Iterator[str]:
        for one in self.record.hours:
            yield self._opening(one)
        if not self.record.hours:
            yield self.say("hours-none")

    def _opening(self, one: OpeningHours) -> str:
        since = self.local(one.at).date().isoformat()
        return self.say("hours", opens=f"{one.opens:%H:%M}", closes=f"{one.closes:%H:%M}", since=since)

    def _source(self) -> Iterator[str]:
        fill, moved = self.record.tub.fill, self.record.water
        if fill.values:
            listed = ", ".join(source_words(fill.values, self.units))
            yield self.say("source-described", list=listed, source=fill.source) + "."
        for one in self.record.sources:
            listed = ", ".join(water_words(one, self.units))
            yield (
                self.say("source-measured", at=self.local(one.at).date().isoformat(), list=listed, report=one.report)
                + "."
            )
        if not fill.values and not self.record.sources:
            yield self.say("source-none")
        yield self.say("source-moved", litres_in=moved.litres_in, litres_out=moved.litres_out)
        if moved.unmetered:
            yield self.say("source-unmetered", count=moved.unmetered)

    # What is asked

    def _asked(self) -> Iterator[tuple[str, str]]:
        """Each thing that is asked, and how sure that is and where it comes from."""
        rules = self.record.rules
        if not rules.asks:
            yield self.say("asks-none"), _sure(rules.basis)
        tub = self.record.tub
        for rule in (r for r in rules.tests if r.applies(tub.setting, tub.sanitizer)):
            yield self._cited(f"{self._named(rule.key)}: {', '.join(self._often(rule))}.", rule.basis)
        for sample in rules.samples:
            often = self.say("days", "record-rule", days=sample.days)
            yield self._cited(f"{self._named(sample.key)}: {often}.", sample.basis)
        for germ, limit in rules.germs.items() if rules.asks or self.record.samples else ():
            name, unit = upper_first(germ_words(germ)), text_of("germ-unit", germ.value)
            yield self._cited(self.say("germ", "record-rule", germ=name, most=limit.most, unit=unit), limit.basis)
        yield from self._also_asked(rules)

    def _also_asked(self, rules: RecordRules) -> Iterator[tuple[str, str]]:
        if rules.fields:
            listed = "; ".join(self._named(f"field-{name}") for name in rules.fields.words)
            yield self._cited(self.say("written", "record-rule", list=listed), rules.fields.basis)
        if rules.refused:
            listed = upper_first(", ".join(map(method_or, rules.refused.words)))
            yield self._cited(self.say("refused", "record-rule", list=listed), rules.refused.basis)
        if rules.person:
            yield self._cited(self.say("person-guests"), rules.person.basis)
        if rules.keep:
            yield self._cited(self.say("keep-years", years=rules.keep.years), rules.keep.basis)

    def _often(self, rule: CheckRule | SampleRule) -> Iterator[str]:
        if isinstance(rule, CheckRule):
            if rule.opening:
                yield self.say("opening", "record-rule")
            if rule.hours:
                yield self.say("hours", "record-rule", hours=rule.hours)
            if rule.closing:
                yield self.say("closing", "record-rule")
            if rule.times:
                yield self.say("times-one" if rule.times == 1 else "times", "record-rule", times=rule.times)
        if rule.days:
            yield self.say("days", "record-rule", days=rule.days)

    def _cited(self, text: str, basis: Basis) -> tuple[str, str]:
        return (text if basis.verified else f"{text}\u00a0*"), _sure(basis)


def _sure(basis: Basis) -> str:
    return explain(Reason("", basis=basis))


def _after_dose(sheet: DaySheet, noted: Noted) -> Iterator[float]:
    """Minutes since the last addition of the day, where a test of sanitizer or pH followed one."""
    if not isinstance(noted.said, Tested) or not _DOSED & {reading.quantity for reading in noted.said.readings}:
        return
    doses = [n.at for n in sheet.entries if isinstance(n.said, Dosed) and n.at <= noted.at and not n.withdrawn]
    if doses:
        yield (noted.at - max(doses)).total_seconds() / 60.0
