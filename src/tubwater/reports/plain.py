"""Verdict and plan for an 80-column terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import datetime, timedelta

from tubwater.reports import units as show
from tubwater.reports.text import explain, marked, quantity_unit, sentence, text_of
from tubwater.reports.units import moment
from tubwater.reports.wrapped import WIDTH, wrapped
from tubwater.services.tubfile import UnitSystem
from tubwater.tub import AfterSoak, Amount, BetterTest, Expectation, Plan, Quantity, Reason, Step, Verdict, VerdictKind

__all__ = ["amount_text", "moment", "render_plan", "render_verdict", "render_why", "step_text"]

_MARGIN = 12
_METRIC = UnitSystem.METRIC
_OTHERWISE = {  # a reason that makes another sentence of its step
    **{kind: "clean empty" for kind in ("scrub-empty", "scrub-with-chlorine")},
    **{kind: "call authority" for kind in ("authority-first", "no-drain-before-agreed")},
}


def render_verdict(verdict: Verdict, units: UnitSystem = _METRIC) -> str:
    """May people get in: one sentence, its time, why, and what would change it."""
    lines = [wrapped(_headline(verdict)), wrapped(_span(verdict))]
    lines += ["", *_bullets(marked(reason, units) for reason in verdict.reasons)]
    if verdict.changes:
        lines += ["", "What would change it:", *_bullets(sentence(change, units) for change in verdict.changes)]
    return "\n".join(lines) + "\n"


def render_plan(plan: Plan, units: UnitSystem = _METRIC) -> str:
    """The whole plan: verdict, steps, the rule after each soak, what to buy, and when people may get in."""
    parts = [render_verdict(plan.verdict, units), _steps(plan, units)]
    parts += [_section("Good to know", [marked(note, units) for note in plan.notes])]
    parts += [_after_soak(plan.after_soak, units)]
    parts += [_section("In the days after" if plan.horizon else "Until the next visit", _outlook(plan, units))]
    parts += [_section("Left out, and why", [sentence(reason, units) for reason in plan.refused])]
    parts += [_section("To buy", [sentence(reason, units) for reason in plan.shopping])]
    parts += [_section("A better test would pay", [_better(test) for test in plan.better_tests])]
    parts += [_ending(plan, units)]
    return "\n".join(part for part in parts if part)


def render_why(plan: Plan, units: UnitSystem = _METRIC, step: int | None = None) -> str:
    """The reasons of the verdict and of each step (or of one step, counted from 1), each with its basis and source."""
    blocks = [] if step else [("The verdict", plan.verdict.reasons)]
    numbered = [
        (f"Step {n}: {step_text(s, units)}", s.reasons) for n, s in enumerate(plan.steps, 1) if step in (None, n)
    ]
    blocks += numbered
    if step is None and plan.after_soak:
        blocks += [("After every soak", plan.after_soak.reasons)]
    return "\n".join(_why_block(title, reasons, units) for title, reasons in blocks)


def step_text(step: Step, units: UnitSystem = _METRIC) -> str:
    """What to do, as one sentence."""
    values: dict[str, object] = {
        "minutes": step.minutes or None,
        "litres": step.litres or None,
        "tablets": "1 tablet" if step.tablets == 1.0 else f"{step.tablets:.0f} tablets" if step.tablets else "empty",
        "opening": _opening(step.opening),
        "by": step.by or "whoever is there",
        "task": text_of("care", step.task) if step.task else text_of("care", "all"),
        "what": amount_text(step.amount, units) if step.amount else "",
        "quantities": ", ".join(text_of("quantity", quantity) for quantity in step.quantities),
    }
    cold = any(reason.kind == "still-cold" for reason in step.reasons)
    kind = "wait covered" if step.covered else "prepare cold" if cold else step.kind.value
    kind = next((_OTHERWISE[r.kind] for r in step.reasons if r.kind in _OTHERWISE), kind)
    text = text_of("step", kind, {k: v for k, v in values.items() if v is not None}, units)
    part = f" Part {step.part} of {step.parts}." if step.parts > 1 else ""
    return text + part + (" May be left out when time is short." if step.optional else "")


def amount_text(amount: Amount, units: UnitSystem = _METRIC) -> str:
    """Weight and measure of an addition: "60 g of soda ash, that is 2 level scoops"."""
    weight = show.grams(amount.grams, units)
    if amount.millilitres:
        weight = f"{show.millilitres(amount.millilitres, units)} ({weight})"
    if not amount.count or amount.measure in ("", "scale", "jug"):
        return f"{weight} of {amount.product}"
    level = "" if amount.measure == "tablet" else "level "
    name = amount.measure if amount.count <= 1.0 else f"{amount.measure}s"
    return f"{weight} of {amount.product}, that is {show.fraction(amount.count)} {level}{name}"


def _headline(verdict: Verdict) -> str:
    word = text_of("verdict", verdict.kind.value)
    if verdict.kind is not VerdictKind.FIT:
        return word if verdict.kind is VerdictKind.KEEP_OUT else f"{word} Nobody in the water for now."
    people = "1 person" if verdict.people == 1 else f"up to {verdict.people} people"
    return f"{word} {people[0].upper()}{people[1:]} may get in for {show.minutes(verdict.minutes)}, then test again."


def _span(verdict: Verdict) -> str:
    if verdict.kind is VerdictKind.FIT:
        return f"As of {moment(verdict.as_of)}; good until {moment(verdict.good_until)}."
    return f"As of {moment(verdict.as_of)}; it holds until a new test says otherwise."


def _steps(plan: Plan, units: UnitSystem) -> str:
    if not plan.steps:
        return "Nothing to add this time.\n"
    length = max(step.starts_at + step.minutes for step in plan.steps)
    title = f"What to do, {show.minutes(length)} from {moment(plan.begins)}"
    told: dict[str, int] = {}
    blocks = [block for n, step in enumerate(plan.steps, 1) for block in _step(n, step, plan.begins, units, told)]
    return "\n".join([title, "", *blocks])


def _step(number: int, step: Step, begins: datetime, units: UnitSystem, told: dict[str, int]) -> Iterator[str]:
    starts = begins + timedelta(minutes=step.starts_at)
    late = (starts.date() - begins.date()).days
    mark = f"{starts:%H:%M}" if not late else f"+{late} d {starts:%H:%M}"
    head = f"{number:>2}  {mark}  ".ljust(_MARGIN)
    yield textwrap.fill(step_text(step, units), WIDTH, initial_indent=head, subsequent_indent=" " * _MARGIN)
    if step.reasons:
        yield _inner("Why: " + marked(step.reasons[0], units))
    if step.expected:
        yield _inner("Should then read: " + _expected(step.expected, units))
    yield from (_inner("! " + text, "  ") for text in _cautions(number, step, told))
    yield ""


def _cautions(number: int, step: Step, told: dict[str, int]) -> Iterator[str]:
    """Each caution in full where it comes first; after that the step where it stands."""
    again = sorted({told[key] for key in step.cautions if key in told})
    for key in step.cautions:
        if key not in told:
            told[key] = number
            yield text_of("caution", key)
    if again:
        yield f"Also the cautions of step{'s' if len(again) > 1 else ''} {' and '.join(str(n) for n in again)}."


def _after_soak(rule: AfterSoak | None, units: UnitSystem) -> str:
    if rule is None:
        return ""
    each = f"For each person and half-hour in the water, add {amount_text(rule.amount, units)}, pumps on, cover open."
    most = amount_text(_as_much(rule.amount, rule.daily_cap_grams), units)
    rest = f"Then nobody gets in for {show.minutes(rule.wait_minutes)}. At most {most} a day."
    lines = [each, rest, *(sentence(reason, units) for reason in rule.reasons[:1])]
    return _section("After every soak", [*lines, *("! " + text_of("caution", key) for key in rule.cautions)])


def _as_much(amount: Amount, grams: float) -> Amount:
    """So many grams in the same measure."""
    times = grams / amount.grams
    return replace(amount, grams=grams, count=amount.count * times, millilitres=amount.millilitres * times)


def _outlook(plan: Plan, units: UnitSystem) -> list[str]:
    lines = [f"At the end of this visit: {_expected(plan.end, units)}."] if plan.end else []
    if plan.low_point:
        until = moment(plan.horizon) if plan.horizon else "the next visit"
        lines.append(f"At the lowest before {until}: {_expected(plan.low_point, units)}.")
    if plan.outcome:
        lines.append(
            f"In the good range {show.percent(plan.outcome.in_band)} of the hours; "
            f"without this plan {show.percent(plan.outcome.in_band_without_plan)}."
        )
    return lines


def _ending(plan: Plan, units: UnitSystem) -> str:
    said = " ".join(sentence(reason, units) for reason in plan.fit_when)
    return wrapped(f"{said} Come back {moment(plan.next_visit)}.".strip()) + "\n"


def _better(test: BetterTest) -> str:
    method, name = text_of("method", test.method), text_of("quantity", test.quantity)
    return (
        f"{method[0].upper()}{method[1:]} for {name}: about {show.number(test.hours_per_week)} more good hours a week."
    )


def _expected(values: Iterable[Expectation], units: UnitSystem) -> str:
    return ", ".join(_reading(value, units) for value in values)


def _reading(value: Expectation, units: UnitSystem) -> str:
    unit = quantity_unit(value.quantity, units)
    low, median, high = (_rounded(v, value.quantity, units) for v in (value.low, value.median, value.high))
    return f"{text_of('quantity', value.quantity)} {median} ({low} to {high}) {unit}".rstrip()


def _rounded(value: float, quantity: Quantity, units: UnitSystem) -> str:
    """No more figures than a keeper's test can show."""
    if quantity is Quantity.TEMPERATURE:
        return show.temperature(value, units).split()[0]
    places = 1 if quantity is Quantity.PH or value < 20.0 else 0
    return f"{value:.{places}f}"


def _opening(share: float) -> str:
    if share <= 0.0 or share >= 1.0:
        return text_of("opening", "closed" if share <= 0.0 else "open")
    return text_of("opening", "part", {"percent": show.percent(share)})


def _why_block(title: str, reasons: Iterable[Reason], units: UnitSystem) -> str:
    lines = [wrapped(title)]
    for reason in reasons:
        lines += list(_bullets([sentence(reason, units)]))
        basis = explain(reason)
        lines += (
            [textwrap.fill(f"Basis: {basis}.", WIDTH, initial_indent="    ", subsequent_indent="    ")] if basis else []
        )
    return "\n".join(lines) + "\n"


def _section(title: str, lines: list[str]) -> str:
    return "\n".join([title, *_bullets(lines), ""]) if lines else ""


def _bullets(lines: Iterable[str]) -> Iterator[str]:
    for line in lines:
        start = "  " if line.startswith("! ") else "  - "
        yield textwrap.fill(line, WIDTH, initial_indent=start, subsequent_indent="    ")


def _inner(text: str, hang: str = "") -> str:
    margin = " " * _MARGIN
    return textwrap.fill(text, WIDTH, initial_indent=margin, subsequent_indent=margin + hang)
