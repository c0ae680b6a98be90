"""How a plan that keeps people out ends: the test that would open the tub, and when; never only a visit in a week."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from tubwater.advice.ending import fit_after_test
from tubwater.advice.now import Situation
from tubwater.advice.wishes import Wishes
from tubwater.facts import defaults
from tubwater.facts.quantity import Quantity
from tubwater.facts.situations import Procedure, Then
from tubwater.tub import Plan, Reason, Step, StepKind, VerdictKind

__all__ = ["with_opening_test"]

_DAY = timedelta(days=1)
_ADDS = (StepKind.DOSE, StepKind.SET_FEEDER, StepKind.FILL, StepKind.DRAIN)
_LAPSES = {"lapse", "lapse-unknown"}


@dataclass(frozen=True)
class _Tests:
    """When the tests are due that open the tub; ``second`` is None where one does."""

    first: datetime
    second: datetime | None
    known: bool = False  # the first was made and was good

    @property
    def opens(self) -> datetime:
        return self.second or self.first

    @property
    def next(self) -> datetime:
        return self.opens if self.known else self.first


def with_opening_test(plan: Plan, case: Situation, wishes: Wishes, found: Procedure | None) -> Plan:
    """The plan with the test that opens the tub, as its last steps or as the next visit.

    Args:
        found: the procedure that the plan follows, or None.
    """
    if plan.verdict.kind is VerdictKind.FIT:
        return _bathe_first(plan)
    treats = found is not None and found.then is Then.TREAT and plan.situation == found.key
    if _tested_at_the_end(plan, case) or (plan.outcome is None and not treats):
        return plan
    tests = _tests(plan, case, found if treats else None)
    ahead = replace(plan, fit_when=tuple(_fit_when(plan, case, tests)))
    ahead = replace(ahead, horizon=case.now + timedelta(days=wishes.days)) if plan.outcome else ahead
    waits = tests.second is not None or treats
    if waits and not tests.known and wishes.minutes is None:
        return _with_steps(ahead, case, tests)
    added = any(s.kind in (StepKind.DOSE, StepKind.AERATE) for s in plan.steps)
    due = tests.next if added or waits else case.now + _DAY
    return replace(ahead, next_visit=min(due, plan.next_visit) if not waits else due)


def _bathe_first(plan: Plan) -> Plan:
    """Fit now, and something goes in: whoever wants to bathe does so before it."""
    if not any(s.kind is StepKind.DOSE for s in plan.steps):
        return plan
    until = plan.verdict.good_until.isoformat(timespec="minutes")
    return replace(plan, notes=(Reason("bathe-first", {"until": until}), *plan.notes))


def _tested_at_the_end(plan: Plan, case: Situation) -> bool:
    """The sanitizer is read, here or by whoever it is handed over to, once all is in; a test before it all is not."""
    last = max((n for n, s in enumerate(plan.steps) if s.kind in _ADDS), default=-1)
    tests = (StepKind.TEST, StepKind.HAND_OVER)
    rest = plan.steps[last + 1 :]
    return any(s.kind in tests and case.sanitizer_quantity in s.quantities and not _first(s) for s in rest)


def _first(step: Step) -> bool:
    return "test-is-old" in {reason.kind for reason in step.reasons}


def _tests(plan: Plan, case: Situation, found: Procedure | None) -> _Tests:
    first = max(_from(plan.fit_when), case.now + timedelta(hours=found.hold_hours if found is not None else 0.0))
    lapsed = {r.kind for r in plan.verdict.reasons} & _LAPSES
    if not lapsed and plan.situation != "new-to-me":
        return _Tests(first, None)
    apart, good = timedelta(hours=defaults()["two_readings_hours"].value), case.good_since_lapse
    if lapsed and good:
        return _Tests(min(good), max(min(good) + apart, first), known=True)
    return _Tests(first, max(first + apart, case.now + _DAY))


def _from(reasons: Iterable[Reason]) -> datetime:
    """From when on a test counts."""
    return next(datetime.fromisoformat(str(r.values["time"])) for r in reasons if r.kind == "fit-after-test")


def _fit_when(plan: Plan, case: Situation, tests: _Tests) -> Iterable[Reason]:
    for reason in plan.fit_when:
        if reason.kind == "fit-after-test":
            yield fit_after_test(case, tests.opens)
        elif reason.kind != "two-good-readings":
            yield reason
    if tests.second is not None:
        names = ("read", "again") if tests.known else ("first", "second")
        moments = zip(names, (tests.first, tests.second), strict=True)
        times = {name: at.isoformat(timespec="minutes") for name, at in moments}
        basis = defaults()["two_readings_hours"].basis
        yield Reason("two-good-readings", times, basis)


def _with_steps(plan: Plan, case: Situation, tests: _Tests) -> Plan:
    """The wait under the cover and the first test as steps; the second one is the next visit."""
    clock = max((s.starts_at + s.minutes for s in plan.steps), default=0.0)
    rest = max((tests.first - case.now).total_seconds() / 60.0 - clock, 0.0)
    overnight = rest > 8 * 60.0
    wait = Step(
        StepKind.WAIT,
        minutes=rest,
        reasons=(Reason("hold-with-filter" if overnight else "let-it-react"),),
        starts_at=clock,
        covered=True,
    )
    first = (Reason("first-of-two-readings"),) if tests.second else ()
    bathing = (case.sanitizer_quantity, Quantity.PH)
    test = Step(
        StepKind.TEST,
        minutes=2.0,
        quantities=bathing,
        reasons=(Reason("look-and-test"), *first),
        starts_at=clock + rest,
    )
    steps = (*plan.steps, *([wait] if rest > 0.0 else []), test)
    return replace(plan, steps=steps, next_visit=tests.opens)
