"""When people had to be kept out, why, and which test opened the tub again: read off what the logbook holds."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from tubwater.advice.senses import kind_of_sign, told_of
from tubwater.facts import Limits, defaults, guidelines
from tubwater.facts.record import Germ, record_rules
from tubwater.measurement import standard_value
from tubwater.tub import (
    Clarity,
    Closed,
    Event,
    Noticed,
    Quantity,
    Reading,
    Reason,
    Reopened,
    Sampled,
    Sanitizer,
    Sign,
    Tested,
    Tub,
)

__all__ = ["Closure", "closures_of"]

_BY_LABORATORY = frozenset({Sign.LEGIONELLA, Sign.GERMS})
# A purple colour spoils a reading and closes nothing; a closure by order has an entry of its own.
_CLOSING = tuple(sign for sign in Sign if sign not in (Sign.PURPLE_INDICATOR, Sign.CLOSED))
_SEEN = frozenset({Clarity.CLOUDY, Clarity.HAZY})


@dataclass(frozen=True)
class Closure:
    """A span in which nobody was to be in.

    Attributes:
        start: when it was seen or read. reason: why. settled: when it was said or read to be over, None so far.
        end: when the test was made that opened the tub again, None so far.
        sample: of a laboratory result (``of_laboratory``), the time at which a sample after it was clear.
        how: what was done to settle it, where that was written.
    """

    start: datetime
    reason: Reason
    settled: datetime | None = None
    end: datetime | None = None
    sample: datetime | None = None
    of_laboratory: bool = False
    how: str = ""


def closures_of(
    tub: Tub,
    events: Sequence[Event],
    samples: Sequence[Sampled] = (),
    shut: Sequence[tuple[Closed, Reopened | None]] = (),
    windows: Sequence[tuple[datetime, datetime]] = (),
) -> tuple[Closure, ...]:
    """Every closure, in order of time; several may run at once, each with its own reason and end.

    Args:
        shut: by order or for repair, each with what ended it.
        windows: in which a reading of the sanitizer counts for nothing, since an oxidizer reads as sanitizer.
    """
    tests = sorted((_counting(tub, e, windows) for e in events if isinstance(e, Tested)), key=lambda e: e.at)
    looks = sorted((e for e in events if isinstance(e, Noticed)), key=lambda e: e.at)
    found = [
        c for quantity in (_sanitizer(tub), Quantity.PH, Quantity.TEMPERATURE) for c in _read(tub, quantity, tests)
    ]
    for sign in _CLOSING:
        found += _signs(tub, sign, looks, tests, samples)
    found += _clouded(tub, looks, tests)
    found += _lapses(tub, looks, tests)
    found += [_shut(tub, closed, over, tests) for closed, over in shut]
    return tuple(sorted(found, key=lambda c: (c.start, c.reason.kind)))


def _counting(tub: Tub, test: Tested, windows: Sequence[tuple[datetime, datetime]]) -> Tested:
    """A test without what was read of the sanitizer inside a window."""
    if not any(since <= test.at < until for since, until in windows):
        return test
    return replace(test, readings=tuple(r for r in test.readings if r.quantity is not _sanitizer(tub)))


def _shut(tub: Tub, closed: Closed, over: Reopened | None, tests: Sequence[Tested]) -> Closure:
    """From the order or the begin of a repair to the test after it was over."""
    reason = Reason(f"closed-{closed.why}", {"reason": closed.reason, "by": closed.by})
    if over is None:
        return Closure(closed.at, reason)
    return Closure(closed.at, reason, over.at, _retest(tub, tests, over.at), how=over.reason)


def _sanitizer(tub: Tub) -> Quantity:
    return Quantity.BROMINE if tub.sanitizer is Sanitizer.BROMINE else Quantity.FREE_CHLORINE


def _limits(tub: Tub, quantity: Quantity) -> Limits:
    return guidelines()[tub.guideline].limits[quantity]


def _read(tub: Tub, quantity: Quantity, tests: Sequence[Tested]) -> Iterator[Closure]:
    """From a reading outside the bathing limits to the next one inside, not on a limit."""
    limits, start, reason = _limits(tub, quantity), None, None
    for reading in (r for test in tests for r in test.readings if r.quantity is quantity):
        outside = _outside(reading, limits)
        if outside and start is None:
            start, reason = reading.at, outside
        elif start and reason and _inside(reading, limits):
            yield Closure(start, reason, reading.at, reading.at)
            start = None
    if start and reason:
        yield Closure(start, reason)


def _inside(reading: Reading, limits: Limits) -> bool:
    """Whether a reading lets people in by itself: sanitizer and pH not on a limit either, as the verdict asks."""
    low, high = sorted(standard_value(reading))
    clear = limits.bathing_low < low and high < limits.bathing_high
    return clear or (reading.quantity is Quantity.TEMPERATURE and _outside(reading, limits) is None)


def _outside(reading: Reading, limits: Limits) -> Reason | None:
    """Why a reading keeps people out; None where all of it lies inside the bathing limits."""
    low, high = sorted(standard_value(reading))
    below = low < limits.bathing_low
    if not below and high <= limits.bathing_high:
        return None
    if reading.quantity is Quantity.TEMPERATURE:
        return Reason("too-hot", {"temperature": high, "limit": limits.bathing_high}, limits.basis)
    far = low < limits.keep_out_low or high > limits.keep_out_high
    bound = ("keep_out_" if far else "bathing_") + ("low" if below else "high")
    kind = f"reading-{'far-' if far else ''}{'low' if below else 'high'}"
    told: dict[str, float | str] = {"quantity": str(reading.quantity), **told_of(low, high)}
    return Reason(kind, {**told, "limit": getattr(limits, bound)}, limits.basis)


def _good_tests(tub: Tub, tests: Sequence[Tested]) -> list[datetime]:
    """When sanitizer and pH were both known to be inside: the later of two readings, each the newest of its own."""
    newest: dict[Quantity, bool] = {}
    found = []
    wanted = (_sanitizer(tub), Quantity.PH)
    for test in tests:
        for reading in test.readings:
            if reading.quantity in wanted:
                newest[reading.quantity] = _inside(reading, _limits(tub, reading.quantity))
        if all(newest.get(quantity, False) for quantity in wanted):
            found.append(test.at)
    return found


def _retest(tub: Tub, tests: Sequence[Tested], after: datetime) -> datetime | None:
    """The first test from ``after`` on by which both are inside; what was read before does not count."""
    good = _good_tests(tub, [test for test in tests if test.at >= after])
    return good[0] if good else None


def _signs(
    tub: Tub, sign: Sign, looks: Sequence[Noticed], tests: Sequence[Tested], samples: Sequence[Sampled]
) -> Iterator[Closure]:
    """From the look that shows a sign to the test after the look that shows it no more."""
    for start, settled in _spans([(look.at, sign in look.signs) for look in looks]):
        end = _retest(tub, tests, settled) if settled else None
        sample = _clear_sample(tub, sign, start, samples)
        yield Closure(start, Reason(kind_of_sign(sign)), settled, end, sample, sign in _BY_LABORATORY)


def _clear_sample(tub: Tub, sign: Sign, start: datetime, samples: Sequence[Sampled]) -> datetime | None:
    """When the first sample after a laboratory result came back clear of what was found."""
    if sign not in _BY_LABORATORY:
        return None
    return next((s.at for s in samples if s.at > start and _clear(tub, sign, s)), None)


def _clear(tub: Tub, sign: Sign, sample: Sampled) -> bool:
    limits = record_rules()[tub.guideline].germs
    counted = {g: c for g, c in sample.counts.items() if (g is Germ.LEGIONELLA) is (sign is Sign.LEGIONELLA)}
    return bool(counted) and all(g not in limits or c.low <= limits[g].most for g, c in counted.items())


def _spans(marks: Sequence[tuple[datetime, bool]]) -> Iterator[tuple[datetime, datetime | None]]:
    start = None
    for at, on in marks:
        if on and start is None:
            start = at
        elif not on and start is not None:
            yield start, at
            start = None
    if start is not None:
        yield start, None


def _clouded(tub: Tub, looks: Sequence[Noticed], tests: Sequence[Tested]) -> Iterator[Closure]:
    """From water that hides the drain to the test after it was seen again; a look that does not say settles nothing."""
    marks = [(look.at, look.clarity in _SEEN) for look in looks if look.clarity is not Clarity.UNKNOWN]
    for start, settled in _spans(marks):
        end = _retest(tub, tests, settled) if settled else None
        yield Closure(start, Reason("drain-not-visible"), settled, end)


def _lapses(tub: Tub, looks: Sequence[Noticed], tests: Sequence[Tested]) -> Iterator[Closure]:
    """From a look that tells of too long without sanitizer to the second of two good tests."""
    long, apart = defaults()["lapse_hours"].value, timedelta(hours=defaults()["two_readings_hours"].value)
    for look in looks:
        if look.lapse_hours is not None and look.lapse_hours > long:
            good = _good_tests(tub, [test for test in tests if test.at >= look.at])
            end = next((at for at in good if at - good[0] >= apart), None)
            yield Closure(look.at, Reason("lapse", {"hours": look.lapse_hours}), good[0] if good else None, end)
