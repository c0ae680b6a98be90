"""May people get in now? Two locks, and everything that keeps them shut.

Lock one: the last valid reading of sanitizer and of pH lies itself inside the bathing limits and is fresh.
Lock two: the belief is sure enough.  The belief may tighten, never overrule a bad or missing reading.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta

import numpy as np

from tubwater.advice.now import Situation
from tubwater.dynamics import Mode, advance, soak
from tubwater.facts import defaults
from tubwater.facts.quantity import Quantity
from tubwater.tub import Answer, Clarity, Reading, Reason, Setting, Sign, Verdict, VerdictKind

__all__ = ["judge"]

_SHORTER_SOAK = 10.0  # min, tried where the guideline's session would use up too much (judgement)


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
    _lapse(case, found)
    _running_wait(case, found)
    for quantity in (case.sanitizer_quantity, Quantity.PH):
        _lock_one(case, quantity, found)
    sanitizer, ph = case.probability(case.sanitizer_quantity), case.probability(Quantity.PH)
    _lock_two(case, sanitizer, ph, found)
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


def _hardware_and_senses(case: Situation, found: _Finding) -> None:
    for sign in sorted(case.signs):
        kind = "contamination" if sign is Sign.CONTAMINATION else f"sign-{sign.value.replace(' ', '-')}"
        found.keep_out.append(Reason(kind))
    if case.clarity in (Clarity.CLOUDY, Clarity.HAZY):
        found.keep_out.append(Reason("drain-not-visible"))
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
        found.not_yet.append(Reason("no-valid-reading", {"quantity": name}))
        found.changes.append(Reason("test-again", {"quantity": name}))
        return
    age = (case.now - reading.at).total_seconds() / 3600.0
    if age > case.most_test_age:
        found.not_yet.append(Reason("reading-too-old", {"quantity": name, "hours": age, "limit": case.most_test_age}))
        found.changes.append(Reason("test-again", {"quantity": name}))
    _compare(case, quantity, reading, found)


def _compare(case: Situation, quantity: Quantity, reading: Reading, found: _Finding) -> None:
    limits = case.limits(quantity)
    low, high = case.standard(reading)
    worst_low, worst_high = min(low, high), max(low, high)
    values: dict[str, float | str] = {"quantity": str(quantity), "low": limits.bathing_low, "high": limits.bathing_high}
    if worst_low < limits.keep_out_low or worst_high > limits.keep_out_high:
        which = "reading-far-low" if worst_low < limits.keep_out_low else "reading-far-high"
        found.keep_out.append(Reason(which, {**values, "value": reading.value}, limits.basis))
    elif worst_low < limits.bathing_low or worst_high > limits.bathing_high:
        which = "reading-low" if worst_low < limits.bathing_low else "reading-high"
        found.not_yet.append(Reason(which, {**values, "value": reading.value}, limits.basis))
    elif quantity is case.sanitizer_quantity:
        _sanitizer_cautions(case, worst_low, worst_high, found)


def _sanitizer_cautions(case: Situation, low: float, high: float, found: _Finding) -> None:
    limits = case.limits(case.sanitizer_quantity)
    if limits.caution is None or case.tub.setting is not Setting.HOME:
        return
    if low < limits.caution[0]:
        found.cautions.append(Reason("below-public-minimum", {"limit": limits.caution[0]}, limits.basis))
    if high > limits.caution[1]:
        found.cautions.append(Reason("high-caution", {"limit": limits.caution[1]}, limits.basis))


def _lock_two(case: Situation, sanitizer: float, ph: float, found: _Finding) -> None:
    needed = defaults()["sure_sanitizer"]
    if sanitizer < needed.value:
        values: dict[str, float | str] = {"probability": sanitizer, "needed": needed.value}
        found.not_yet.append(Reason("not-sure-sanitizer", values, needed.basis))
        found.changes.append(Reason("dose-or-better-test", {"quantity": str(case.sanitizer_quantity)}))
    needed = defaults()["sure_ph"]
    if ph < needed.value:
        values = {"probability": ph, "needed": needed.value}
        found.not_yet.append(Reason("not-sure-ph", values, needed.basis))
        found.changes.append(Reason("dose-or-better-test", {"quantity": "pH"}))
    if case.suspects:
        found.not_yet.append(Reason("readings-do-not-fit", {"quantities": ", ".join(case.suspects)}))
        found.changes.append(Reason("test-again"))


def _load(case: Situation) -> tuple[int, float]:
    """Most people for a usual soak such that the sanitizer stays above the keep-out limit, likely 95 of 100."""
    most = int(case.litres_low // case.guideline.litres_per_bather)
    sure = defaults()["sure_sanitizer"].value
    floor = case.limits(case.sanitizer_quantity).keep_out_low
    for people in range(min(most, 8), 0, -1):
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
    low, high = case.limits(case.sanitizer_quantity).bathing_low, case.limits(case.sanitizer_quantity).bathing_high
    while until < latest:
        state = advance(state, case.rates, 1.0, Mode.COVERED, case.products.tablet, case.buffer)
        value = case.sanitizer_of(state)
        if np.mean((value >= low) & (value <= high)) < defaults()["sure_sanitizer"].value:
            break
        until += timedelta(hours=1)
    return min(until, latest)
