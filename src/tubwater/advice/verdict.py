"""May people get in now? Two locks, and everything that keeps them shut.

Lock one: the last valid reading of sanitizer and of pH lies itself inside the bathing limits, not on one of them
(then the water lies as likely outside), and is fresh.
Lock two: the belief is sure enough.  The belief may tighten, never overrule a bad or missing reading.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta

import numpy as np

from tubwater.advice.now import Situation
from tubwater.advice.senses import kind_of_sign, told_of
from tubwater.dynamics import Mode, TubState, advance, soak
from tubwater.facts import defaults
from tubwater.facts.quantity import Quantity
from tubwater.measurement import bin_of
from tubwater.tub import Answer, Clarity, Reading, Reason, Sanitizer, Setting, Sign, Verdict, VerdictKind

__all__ = ["judge"]

_SHORTER_SOAK = 10.0  # min, tried where the guideline's session would use up too much (judgement)
_ON_IT = 1e-6  # a limit that was read, in its own unit, through the rounding of scales
_TOGETHER = timedelta(minutes=30)  # two methods within it read the same water (judgement)


@dataclass
class _Finding:
    """Reasons found so far; the gravest kind wins."""

    keep_out: list[Reason] = field(default_factory=list)
    not_yet: list[Reason] = field(default_factory=list)
    cautions: list[Reason] = field(default_factory=list)
    changes: list[Reason] = field(default_factory=list)

    @property
    def kind(self) -> VerdictKind:
        if self.keep_out:
            return VerdictKind.KEEP_OUT
        return VerdictKind.NOT_YET if self.not_yet else VerdictKind.FIT


def judge(case: Situation) -> Verdict:
    """The verdict at ``case.now``."""
    found = _Finding()
    _hardware_and_senses(case, found)
    sanitizer, ph = case.probability(case.sanitizer_quantity), case.probability(Quantity.PH)
    if case.empty:
        found.keep_out.append(Reason("empty"))
        found.changes.append(Reason("fill-and-start"))
    else:
        _water(case, sanitizer, ph, found)
    people, minutes, until = (0, 0.0, case.now)
    if found.kind is VerdictKind.FIT:
        people, minutes = _load(case)
        until = _good_until(case)
        if people < 1 or until <= case.now:
            found.not_yet.append(Reason("no-room-for-a-soak"))
            people, minutes, until = 0, 0.0, case.now
    reasons = (*found.keep_out, *found.not_yet, *found.cautions)
    return Verdict(
        found.kind,
        case.now,
        until,
        people,
        minutes,
        sanitizer,
        ph,
        reasons or (Reason("both-locks"),),
        tuple(found.changes),
    )


def _water(case: Situation, sanitizer: float, ph: float, found: _Finding) -> None:
    """What eye, readings and belief say of the water that is in."""
    _senses(case, found)
    _lapse(case, found)
    _running_wait(case, found)
    for quantity in (case.sanitizer_quantity, Quantity.PH):
        _lock_one(case, quantity, found)
    _cyanurate(case, found)
    _lock_two(case, sanitizer, ph, found)


def _cyanurate(case: Situation, found: _Finding) -> None:
    """Chlorine that cyanuric acid holds back reads as chlorine and hardly disinfects."""
    reading = case.last_valid(Quantity.CYANURIC_ACID)
    if reading is None or case.tub.sanitizer is not Sanitizer.CHLORINE:
        return
    _compare(case, Quantity.CYANURIC_ACID, reading, found)
    if _outside(case, reading) > 0.0:
        found.changes.append(Reason("test-again", {"quantity": str(Quantity.CYANURIC_ACID)}))


def _hardware_and_senses(case: Situation, found: _Finding) -> None:
    for sign in sorted(case.signs):
        found.keep_out.append(Reason(kind_of_sign(sign)))
    if case.signs:
        found.changes.append(Reason("settle-as-planned"))


def _senses(case: Situation, found: _Finding) -> None:
    if case.clarity in (Clarity.CLOUDY, Clarity.HAZY):
        found.keep_out.append(Reason("drain-not-visible"))
        found.changes.append(Reason("clear-water"))
    elif case.clarity is Clarity.UNKNOWN:
        found.not_yet.append(Reason("clarity-unknown"))
        found.changes.append(Reason("look-for-the-drain"))
    hottest = case.limits(Quantity.TEMPERATURE)
    if case.warmest > hottest.bathing_high:
        values: dict[str, float | str] = {"temperature": case.warmest, "limit": hottest.bathing_high}
        found.keep_out.append(Reason("too-hot", values, hottest.basis))
    if case.unlogged_soak is not Answer.NO:
        found.not_yet.append(Reason("soak-not-logged"))
        found.changes.append(Reason("test-again"))


def _lapse(case: Situation, found: _Finding) -> None:
    """Too little sanitizer for more than a day, or for nobody knows how long."""
    lapse = case.lapse
    if lapse is None or (case.lapse_closed and lapse.kind != "long-lapse"):
        return
    values: dict[str, float | str] = {} if lapse.hours is None else {"hours": lapse.hours}
    found.keep_out.append(Reason(lapse.kind, values, defaults()["lapse_hours"].basis))
    found.changes.append(Reason("drain-and-purge" if lapse.kind == "long-lapse" else "two-good-readings"))


def _running_wait(case: Situation, found: _Finding) -> None:
    until = case.wait_until
    if until > case.now:
        minutes = (until - case.now).total_seconds() / 60.0
        found.not_yet.append(Reason("wait-running", {"minutes": minutes}))
    if case.in_monopersulfate_window:
        found.not_yet.append(Reason("monopersulfate-window", {"minutes": case.monopersulfate_minutes}))
    if case.held is not None:
        found.not_yet.append(case.held)


def _lock_one(case: Situation, quantity: Quantity, found: _Finding) -> None:
    """The reading itself."""
    reading = case.last_valid(quantity)
    name = str(quantity)
    if reading is None:
        _without_reading(case, quantity, found)
        return
    age = (case.now - reading.at).total_seconds() / 3600.0
    if age > case.most_test_age:
        found.not_yet.append(Reason("reading-too-old", {"quantity": name, "hours": age, "limit": case.most_test_age}))
        found.changes.append(Reason("test-again", {"quantity": name}))
    worst = max(_at_once(case, reading), key=lambda r: _outside(case, r))
    _compare(case, quantity, worst, found)
    if -_ON_IT <= _outside(case, worst) <= 0.0:
        _on_the_limit(case, worst, found)


def _at_once(case: Situation, newest: Reading) -> list[Reading]:
    """The newest reading, and what another method read of the same water just before it: the worst of them counts."""
    since = max([newest.at - _TOGETHER, *(d.at for d in case.doses())])
    others = [r for r in case.readings(newest.quantity) if since <= r.at and case.of_this_water(r)]
    return [newest, *(r for r in others if r.method != newest.method)]


def _outside(case: Situation, reading: Reading) -> float:
    """How far a reading may lie outside the bathing limits, 0 on one of them, less inside."""
    (low, high), limits = _span(case, reading), case.limits(reading.quantity)
    return float(max(limits.bathing_low - low, high - limits.bathing_high))


def _on_the_limit(case: Situation, reading: Reading, found: _Finding) -> None:
    """What reads just as the limit may, with any error at all, lie on either side of it."""
    limits = case.limits(reading.quantity)
    low = _span(case, reading)[0] <= limits.bathing_low + _ON_IT
    limit = limits.bathing_low if low else limits.bathing_high
    values: dict[str, float | str] = {"quantity": str(reading.quantity), "limit": limit}
    found.not_yet.append(Reason("reading-on-the-limit", values, limits.basis))
    found.changes += _remedies(case, reading.quantity)


def _without_reading(case: Situation, quantity: Quantity, found: _Finding) -> None:
    """Why no reading counts, and what would."""
    newest = next(iter(case.readings(quantity)), None)
    sanitizer = quantity is case.sanitizer_quantity
    spoiled = case.spoiled_by_a_dose(newest) if newest is not None and sanitizer else ""
    if quantity is Quantity.PH and newest is not None and case.colour_misleads(newest):
        spoiled = "ph-colour-spoiled"
    if newest is not None and str(quantity) in case.suspects and not spoiled and case.of_this_water(newest):
        _compare(case, quantity, newest, found)  # what may be wrong counts where it is the worse
    found.not_yet.append(Reason(spoiled or "no-valid-reading", {"quantity": str(quantity)}))
    if spoiled != "ph-colour-spoiled" or Sign.PURPLE_INDICATOR in case.noticed.signs:
        found.changes.append(Reason("test-again", {"quantity": str(quantity)}))


def _compare(case: Situation, quantity: Quantity, reading: Reading, found: _Finding) -> None:
    limits = case.limits(quantity)
    worst_low, worst_high = _span(case, reading)
    so_much = told_of(worst_low, worst_high) if np.isinf(worst_high) else case.told(reading)
    told: dict[str, float | str] = {"quantity": str(quantity), **so_much}
    if worst_low < limits.keep_out_low or worst_high > limits.keep_out_high:
        which, limit = (
            ("low", limits.keep_out_low) if worst_low < limits.keep_out_low else ("high", limits.keep_out_high)
        )
        found.keep_out.append(Reason(f"reading-far-{which}", {**told, "limit": limit}, limits.basis))
    elif worst_low < limits.bathing_low or worst_high > limits.bathing_high:
        which, limit = ("low", limits.bathing_low) if worst_low < limits.bathing_low else ("high", limits.bathing_high)
        found.not_yet.append(Reason(f"reading-{which}", {**told, "limit": limit}, limits.basis))
    elif quantity is case.sanitizer_quantity:
        _sanitizer_cautions(case, worst_low, worst_high, found)


def _span(case: Situation, reading: Reading) -> tuple[float, float]:
    """Both ends of what was read; the last colour of a scale stands for so much or more."""
    low, high = sorted(case.standard(reading))
    return low, (np.inf if np.isinf(bin_of(reading).high) else high)


def _sanitizer_cautions(case: Situation, low: float, high: float, found: _Finding) -> None:
    limits = case.limits(case.sanitizer_quantity)
    if limits.caution is None or case.tub.setting is not Setting.HOME:
        return
    if low < limits.caution[0]:
        found.cautions.append(Reason("below-public-minimum", {"limit": limits.caution[0]}, limits.basis))
    if high > limits.caution[1]:
        found.cautions.append(Reason("high-caution", {"limit": limits.caution[1]}, limits.basis))


def _lock_two(case: Situation, sanitizer: float, ph: float, found: _Finding) -> None:
    for quantity, sure, kind in ((case.sanitizer_quantity, sanitizer, "sanitizer"), (Quantity.PH, ph, "ph")):
        needed = defaults()[f"sure_{kind}"]
        if sure < needed.value:
            values: dict[str, float | str] = {"probability": sure, "needed": needed.value}
            found.not_yet.append(Reason(f"not-sure-{kind}", values, needed.basis))
            found.changes += [] if case.signs else [r for r in _remedies(case, quantity) if r not in found.changes]
    if case.suspects:
        found.not_yet.append(Reason("readings-do-not-fit", {"quantities": ", ".join(case.suspects)}))
        found.changes.append(Reason("test-again"))


def _remedies(case: Situation, quantity: Quantity) -> list[Reason]:
    """What would make it sure: a reading outside asks for a dose or for time, one inside for a better test as well."""
    reading, limits = case.last_valid(quantity), case.limits(quantity)
    values: dict[str, float | str] = {"quantity": str(quantity), "high": limits.bathing_high}
    if reading is None:
        return []  # a test is asked for already
    low, high = case.standard(reading)
    outside = low < limits.bathing_low or high > limits.bathing_high
    better = [] if outside else [Reason("better-test", values)]
    if quantity is case.sanitizer_quantity and _too_high(case, high, limits.bathing_high, outside):
        return [*better, Reason("let-it-fall", values)]
    return [*better, Reason("dose-then-test", values)]


def _too_high(case: Situation, read: float, limit: float, outside: bool) -> bool:
    """Above the limit as it was read, or, where the reading lies inside, more likely above it than below."""
    value = case.observer.read(case.sanitizer_quantity)
    low = case.limits(case.sanitizer_quantity).bathing_low
    return read > limit if outside else bool(np.mean(value > limit) > np.mean(value < low))


def _load(case: Situation) -> tuple[int, float]:
    """Most people for a usual soak such that the sanitizer stays above the keep-out limit, likely 95 of 100."""
    sure = defaults()["sure_sanitizer"].value
    floor = case.limits(case.sanitizer_quantity).keep_out_low
    for people in range(min(case.most_people, 8), 0, -1):
        for minutes in (case.guideline.session_minutes, _SHORTER_SOAK):
            after = soak(case.state, case.rates, people * minutes / 60.0, people)
            if np.mean(case.sanitizer_of(after) >= floor) >= sure:
                return people, minutes
    return 0, 0.0


def _good_until(case: Situation) -> datetime:
    """When the first lock runs out or the second would shut, whichever comes first; steps of an hour."""
    oldest = min(r.at for r in case.newest_pair())
    latest = oldest + timedelta(hours=case.most_test_age)
    state, until = case.state, case.now
    while until < latest:
        state = advance(state, case.rates, 1.0, Mode.COVERED, case.products.tablet, case.buffer)
        if not _sure(case, state):
            break
        until += timedelta(hours=1)
    return min(until, latest)


def _sure(case: Situation, state: TubState) -> bool:
    """Whether the believed waters are inside the bathing limits as surely as the second lock asks for."""
    read = {"sanitizer": (case.sanitizer_quantity, case.sanitizer_of(state)), "ph": (Quantity.PH, state.ph)}
    for kind, (quantity, value) in read.items():
        limits = case.limits(quantity)
        inside = (value >= limits.bathing_low) & (value <= limits.bathing_high)
        if np.mean(inside) < defaults()[f"sure_{kind}"].value:
            return False
    return True
