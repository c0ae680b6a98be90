"""Verdict and plan for an 80-column terminal."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import datetime, timedelta

from tubwater.facts import must_be_done
from tubwater.reports import units as show
from tubwater.reports.text import explain, marked, measured, named, quantity_unit, sentence, text_of, upper_first
from tubwater.reports.units import moment
from tubwater.reports.wrapped import filled, wrapped
from tubwater.services.tubfile import UnitSystem
from tubwater.tub import AfterSoak, Amount, BetterTest, Expectation, Plan, Quantity, Reason, Step, Verdict, VerdictKind

__all__ = [
    "amount_text",
    "measures_text",
    "moment",
    "reading_words",
    "render_plan",
    "render_verdict",
    "render_why",
    "step_text",
]

_MARGIN = 12
_METRIC = UnitSystem.METRIC
_OTHERWISE = {  # a reason that makes another sentence of its step
    **{kind: "clean empty" for kind in ("scrub-empty", "scrub-with-chlorine")},
    **{kind: "call authority" for kind in ("authority-first", "no-drain-before-agreed")},
    "doctor-or-authority": "call doctor",
    "party-runs": "bathe",
    "party-runs-one": "bathe one",
}


def render_verdict(verdict: Verdict, units: UnitSystem = _METRIC) -> str:
    """May people get in: one sentence, its time, why, and what would change it."""
    lines = [wrapped(_headline(verdict)), wrapped(_span(verdict))]
    lines += ["", *_bullets(marked(reason, units) for reason in verdict.reasons)]
    if verdict.changes:
        lines += ["", _say("changes"), *_bullets(sentence(change, units) for change in verdict.changes)]
    return "\n".join(lines) + "\n"


def render_plan(plan: Plan, units: UnitSystem = _METRIC) -> str:
    """The whole plan: verdict, steps, the rule after each soak, what to buy, and when people may get in."""
    parts = [render_verdict(plan.verdict, units), _steps(plan, units)]
    parts += [_section(_say("notes"), [marked(note, units) for note in plan.notes])]
    parts += [_after_soak(plan.after_soak, units)]
    parts += [_section(_say("after" if plan.horizon else "until"), _outlook(plan, units))]
    parts += [_section(_say("refused"), [sentence(reason, units) for reason in plan.refused])]
    parts += [_section(_say("to-buy"), [sentence(reason, units) for reason in plan.shopping])]
    parts += [_section(_say("better-tests"), [_better(test) for test in plan.better_tests])]
    parts += [_ending(plan, units)]
    return "\n".join(part for part in parts if part)


def render_why(plan: Plan, units: UnitSystem = _METRIC, step: int | None = None) -> str:
    """The reasons of the verdict and of each step (or of one step, counted from 1), each with its basis and source."""
    blocks = [] if step else [(_say("the-verdict"), plan.verdict.reasons)]
    numbered = [
        (_say("step", number=n, text=step_text(s, units)), s.reasons)
        for n, s in enumerate(plan.steps, 1)
        if step in (None, n)
    ]
    blocks += numbered
    if step is None and plan.after_soak:
        blocks += [(_say("after-soak"), plan.after_soak.reasons)]
    return "\n".join(_why_block(title, reasons, units) for title, reasons in blocks)


def step_text(step: Step, units: UnitSystem = _METRIC) -> str:
    """What to do, as one sentence."""
    values: dict[str, object] = {
        "minutes": step.minutes or None,
        "litres": step.litres or None,
        "tablets": _tablets(step.tablets),
        "opening": _opening(step.opening),
        "by": step.by or _say("whoever"),
        "task": text_of("care", step.task) if step.task else text_of("care", "all"),
        "what": amount_text(step.amount, units) if step.amount else "",
        "quantities": ", ".join(text_of("quantity", quantity) for quantity in step.quantities),
    }
    cold = any(reason.kind == "still-cold" for reason in step.reasons)
    kind = "wait covered" if step.covered else "prepare cold" if cold else step.kind.value
    other = next((r for r in step.reasons if r.kind in _OTHERWISE), None)
    if other is not None:
        kind, values = _OTHERWISE[other.kind], {**other.values, **values}
    text = text_of("step", kind, {k: v for k, v in values.items() if v is not None}, units)
    part = " " + _say("part", part=step.part, parts=step.parts) if step.parts > 1 else ""
    left_out = step.optional and not must_be_done(step.task)
    return text + part + (" " + _say("optional") if left_out else "")


def amount_text(amount: Amount, units: UnitSystem = _METRIC) -> str:
    """Weight and measure of an addition: "60 g of soda ash, that is 2 level scoops"."""
    weight, product = show.grams(amount.grams, units), named(amount.product)
    if amount.millilitres:
        volume = show.millilitres(amount.millilitres, units)
        weight = text_of("amount", "volume", {"volume": volume, "weight": weight})
    if not amount.count or amount.measure in ("", "scale", "jug"):
        return text_of("amount", "plain", {"weight": weight, "product": product})
    return text_of("amount", "measured", {"weight": weight, "product": product, "count": measures_text(amount)})


def measures_text(amount: Amount) -> str:
    """How much of a product in its own measure: "2 level scoops"."""
    return measured(amount.measure, amount.count)


def _say(kind: str, **values: object) -> str:
    return text_of("plan", kind, values)


def _tablets(count: float) -> str:
    if not count:
        return _say("empty")
    return _say("tablet") if count == 1.0 else _say("tablets", count=f"{count:.0f}")


def _headline(verdict: Verdict) -> str:
    word = text_of("verdict", verdict.kind.value)
    if verdict.kind is not VerdictKind.FIT:
        return word if verdict.kind is VerdictKind.KEEP_OUT else f"{word} {_say('nobody')}"
    kind = "fit-one" if verdict.people == 1 else "fit"
    return f"{word} {_say(kind, people=verdict.people, minutes=verdict.minutes)}"


def _span(verdict: Verdict) -> str:
    if verdict.kind is VerdictKind.FIT:
        return _say("as-of", at=verdict.as_of, until=verdict.good_until)
    return _say("as-of-not", at=verdict.as_of)


def _steps(plan: Plan, units: UnitSystem) -> str:
    if not plan.steps:
        return _say("nothing") + "\n"
    length = max(step.starts_at + step.minutes for step in plan.steps)
    title = _say("what-to-do", minutes=length, at=plan.begins)
    told: dict[str, int] = {}
    blocks = [block for n, step in enumerate(plan.steps, 1) for block in _step(n, step, plan.begins, units, told)]
    return "\n".join([title, "", *blocks])


def _step(number: int, step: Step, begins: datetime, units: UnitSystem, told: dict[str, int]) -> Iterator[str]:
    starts = begins + timedelta(minutes=step.starts_at)
    late = (starts.date() - begins.date()).days
    mark = f"{starts:%H:%M}" if not late else _say("late", days=late, time=f"{starts:%H:%M}")
    head = f"{number:>2}  {mark}  ".ljust(_MARGIN)
    yield filled(step_text(step, units), head, " " * _MARGIN)
    if step.reasons:
        yield _inner(_say("why", text=marked(step.reasons[0], units)))
    if step.expected:
        yield _inner(_say("reads", list=_expected(step.expected, units)))
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
        *most, last = (str(n) for n in again)
        yield (
            _say("cautions-of-many", list=", ".join(most) + _say("and") + last)
            if most
            else _say("cautions-of", list=last)
        )


def _after_soak(rule: AfterSoak | None, units: UnitSystem) -> str:
    if rule is None:
        return ""
    each = _say("each-soak", amount=amount_text(rule.amount, units))
    most = amount_text(_as_much(rule.amount, rule.daily_cap_grams), units)
    rest = _say("then-nobody", minutes=rule.wait_minutes, most=most)
    lines = [each, rest, *(sentence(reason, units) for reason in rule.reasons[:1])]
    return _section(_say("after-soak"), [*lines, *("! " + text_of("caution", key) for key in rule.cautions)])


def _as_much(amount: Amount, grams: float) -> Amount:
    """So many grams in the same measure."""
    times = grams / amount.grams
    return replace(amount, grams=grams, count=amount.count * times, millilitres=amount.millilitres * times)


def _outlook(plan: Plan, units: UnitSystem) -> list[str]:
    lines = [_say("end", list=_expected(plan.end, units))] if plan.end else []
    if plan.low_point:
        until = moment(plan.horizon) if plan.horizon else _say("next-visit")
        lines.append(_say("lowest", until=until, list=_expected(plan.low_point, units)))
    if plan.outcome:
        share, without = plan.outcome.in_band, plan.outcome.in_band_without_plan
        lines.append(_say("outcome", share=share, without=without))
    return lines


def _ending(plan: Plan, units: UnitSystem) -> str:
    said = " ".join(sentence(reason, units) for reason in plan.fit_when)
    back = "" if any(r.kind == "given-away" for r in plan.fit_when) else _say("come-back", at=plan.next_visit)
    return wrapped(f"{said} {back}".strip()) + "\n"


def _better(test: BetterTest) -> str:
    method, name = text_of("method", test.method), text_of("quantity", test.quantity)
    return _say("better", Method=upper_first(method), name=name, hours=test.hours_per_week)


def _expected(values: Iterable[Expectation], units: UnitSystem) -> str:
    return ", ".join(reading_words(value, units) for value in values)


def reading_words(value: Expectation, units: UnitSystem = _METRIC) -> str:
    """A quantity with its middle and what nine of ten believed waters lie between, as fine as a test shows."""
    unit = quantity_unit(value.quantity, units)
    low, median, high = (_rounded(v, value.quantity, units) for v in (value.low, value.median, value.high))
    return _say("reading", name=text_of("quantity", value.quantity), median=median, low=low, high=high, unit=unit)


def _rounded(value: float, quantity: Quantity, units: UnitSystem) -> str:
    """No more figures than a keeper's test can show."""
    if quantity is Quantity.TEMPERATURE:
        return show.temperature(value, units).split()[0]
    return show.fixed(value, 1) if quantity is Quantity.PH else show.believed(value)


def _opening(share: float) -> str:
    if share <= 0.0 or share >= 1.0:
        return text_of("opening", "closed" if share <= 0.0 else "open")
    return text_of("opening", "part", {"percent": show.percent(share)})


def _why_block(title: str, reasons: Iterable[Reason], units: UnitSystem) -> str:
    lines = [wrapped(title)]
    for reason in reasons:
        lines += list(_bullets([sentence(reason, units)]))
        basis = explain(reason)
        lines += [filled(_say("basis", text=basis), "    ", "    ")] if basis else []
    return "\n".join(lines) + "\n"


def _section(title: str, lines: list[str]) -> str:
    return "\n".join([title, *_bullets(lines), ""]) if lines else ""


def _bullets(lines: Iterable[str]) -> Iterator[str]:
    for line in lines:
        start = "  " if line.startswith("! ") else "  - "
        yield filled(line, start, "    ")


def _inner(text: str, hang: str = "") -> str:
    margin = " " * _MARGIN
    return filled(text, margin, margin + hang)
