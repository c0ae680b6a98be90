"""Verdict, plan and water of tubs, computed once for a state of the logbook and a minute."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256
from threading import Lock
from typing import Any, TypeVar

from tubwater.advice import Situation, Wishes, judge, make_plan
from tubwater.services.advise import WaterReport, water_of
from tubwater.services.handout import Handout, handout_of
from tubwater.services.keeping import Keeping
from tubwater.services.learned import Change, Learned, changes_of, learned_of
from tubwater.services.ledger import Ledger, WaterChange, ledger_of, water_change
from tubwater.services.outlook import Outlook, Scenario, outlook_of
from tubwater.services.ports import Kind
from tubwater.services.troubles import Ranking, troubles_of
from tubwater.tub import Plan, Verdict, VerdictKind

__all__ = ["Answers"]

_Value = TypeVar("_Value")
_CASES = 8  # a situation holds some megabytes
_ANSWERS = 1000


@dataclass(frozen=True)
class _Kept:
    mark: str
    at: datetime
    value: Any


class Answers:
    """What ``Keeping`` answers, kept for the minute in which it was computed and as long as the logbook stays as it is.

    It may be asked from several threads; each tub is computed once at a time.
    """

    def __init__(self, keeping: Keeping) -> None:
        self.keeping = keeping
        self._kept: OrderedDict[Hashable, _Kept] = OrderedDict()
        self._cases: OrderedDict[Hashable, _Kept] = OrderedDict()
        self._shown: OrderedDict[Hashable, _Kept] = OrderedDict()
        self._locks: dict[str, Lock] = {}
        self._lock = Lock()

    def mark(self, tub: str) -> str:
        """A name for the state of a tub's logbook; what was only shown does not change it.

        Raises:
            UnknownEntry: there is no such tub.
        """
        told = (s.entry for s in self.keeping.entries(tub) if s.entry.kind is not Kind.SHOWN)
        return sha256("\n".join(entry.id for entry in told).encode()).hexdigest()

    def case(self, tub: str) -> Situation:
        """The situation of a tub now."""
        mark, now = self.mark(tub), self.keeping.clock.now()
        with self._of(tub):
            return self._case(tub, mark, now)

    def verdict(self, tub: str) -> Verdict:
        """May people get in now?"""
        return self._once(tub, ("verdict", tub), lambda case: judge(case))

    def recent_verdict(self, tub: str, most: timedelta = timedelta(minutes=10)) -> Verdict:
        """The verdict of the last minutes where the logbook stayed as it was, for a list of many tubs."""
        kept, now = self._kept.get(("verdict", tub)), self.keeping.clock.now()
        if kept and kept.mark == self.mark(tub) and timedelta() <= now - kept.at <= most:
            found: Verdict = kept.value
            if found.kind is not VerdictKind.FIT or now < found.good_until:
                return found
        return self.verdict(tub)

    def plan(self, tub: str, wishes: Wishes | None = None) -> Plan:
        """What to do now."""
        chosen = wishes or Wishes()
        return self._once(tub, ("plan", tub, chosen), lambda case: make_plan(case, chosen))

    def water(self, tub: str) -> WaterReport:
        """What the water is believed to be."""
        return self._once(tub, ("water", tub), lambda case: water_of(case))

    def outlook(self, tub: str, days: float = 14.0, scenario: Scenario | None = None) -> Outlook:
        """Where the water is going, as it is or with something changed.

        Raises:
            InputError: the days or the scenario cannot be meant.
        """
        chosen = scenario or Scenario()
        return self._once(tub, ("outlook", tub, days, chosen), lambda case: outlook_of(case, days, chosen))

    def ledger(self, tub: str, litres: float | None = None) -> tuple[Ledger, WaterChange | None]:
        """What has built up since the fill, and what a change of so many litres would do."""
        found = self._once(tub, ("ledger", tub), ledger_of)
        if litres is None:
            return found, None
        return found, self._once(tub, ("change", tub, litres), lambda case: water_change(case, litres))

    def handout(self, tub: str) -> Handout:
        """The sheet for the owner."""
        wishes = Wishes(days=self.keeping.file(tub).visit.days_until_next)
        return self._once(tub, ("handout", tub, wishes), lambda case: handout_of(case, wishes))

    def learned(self, tub: str) -> tuple[Learned, tuple[Change, ...]]:
        """What was learned of the tub, and what seems to have changed."""
        return self._once(tub, ("learned", tub), lambda case: (learned_of(case), changes_of(case)))

    def troubles(self, tub: str, present: Sequence[str], answers: Mapping[str, bool]) -> Ranking:
        """Likely causes of what is seen.

        Raises:
            UnknownKey: a sign or check that nobody knows.
        """
        key = ("troubles", tub, tuple(present), tuple(sorted(answers.items())))
        return self._once(tub, key, lambda case: troubles_of(case, present, (), answers))

    def besides(self, tub: str, key: Hashable, ask: Callable[[], _Value]) -> _Value:
        """Something else about a tub, by its ``key``: asked for again once its logbook changed or a minute went by."""
        mark, now, whole = self.mark(tub), self.keeping.clock.now(), ("besides", tub, key)
        kept = self._kept.get(whole)
        if kept is None or not _same(kept, mark, now):
            kept = _Kept(mark, now, ask())
            with self._of(tub):
                _keep(self._kept, whole, kept, _ANSWERS)
        value: _Value = kept.value
        return value

    def shown_first(self, tub: str, what: str, kind: str) -> bool:
        """Whether a verdict or plan of this kind is shown for the first time since the logbook changed."""
        mark = self.mark(tub)
        with self._of(tub):
            kept = self._shown.get((tub, what, kind))
            if kept is not None and kept.mark == mark:
                return False
            _keep(self._shown, (tub, what, kind), _Kept(mark, self.keeping.clock.now(), None), _ANSWERS)
            return True

    def _once(self, tub: str, key: Hashable, ask: Callable[[Situation], _Value]) -> _Value:
        mark, now = self.mark(tub), self.keeping.clock.now()
        with self._of(tub):
            kept = self._kept.get(key)
            if kept is None or not _same(kept, mark, now):
                kept = _Kept(mark, now, ask(self._case(tub, mark, now)))
                _keep(self._kept, key, kept, _ANSWERS)
        value: _Value = kept.value
        return value

    def _case(self, tub: str, mark: str, now: datetime) -> Situation:
        kept = self._cases.get(tub)
        if kept is None or not _same(kept, mark, now):
            kept = _Kept(mark, now, self.keeping.case(tub))
            _keep(self._cases, tub, kept, _CASES)
        found: Situation = kept.value
        return found

    def _of(self, tub: str) -> Lock:
        with self._lock:
            return self._locks.setdefault(tub, Lock())


def _same(kept: _Kept, mark: str, now: datetime) -> bool:
    return kept.mark == mark and timedelta() <= now - kept.at < timedelta(minutes=1)


def _keep(into: OrderedDict[Hashable, _Kept], key: Hashable, kept: _Kept, most: int) -> None:
    into[key] = kept
    into.move_to_end(key)
    while len(into) > most:
        into.popitem(last=False)
