"""The ledger for a terminal of 80 columns."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

from tubwater.reports import units as show
from tubwater.reports.text import explain, named, sentence, text_of
from tubwater.reports.wrapped import bullet, filled, wrapped
from tubwater.services.ledger import Built, DrainDate, Ledger, WaterChange
from tubwater.services.tubfile import UnitSystem

__all__ = ["date_words", "drain_words", "figure", "render_ledger", "since_lines"]

_METRIC = UnitSystem.METRIC
_EXACT = timedelta(days=100)  # a rule of the calendar asks for a day within it


def render_ledger(ledger: Ledger, change: WaterChange | None = None, units: UnitSystem = _METRIC) -> str:
    """Since when, by when to drain and why, what is in the water, and what a partial change would do."""
    parts = [wrapped(drain_words(ledger)), *(wrapped(line) for line in since_lines(ledger, units)), ""]
    parts += [text_of("ledger", "rules"), *(line for date in ledger.dates for line in _rule(ledger, date, units)), ""]
    parts += [text_of("ledger", "built"), *(bullet(_row(built)) for built in ledger.built)]
    parts += ["", *_change(change, units)] if change else []
    return "\n".join([*parts, "", bullet(text_of("ledger", "caution"), "! ")]) + "\n"


def drain_words(ledger: Ledger | WaterChange) -> str:
    """By when to drain, as one sentence, and the rule that sets it; for a change, how it would be then."""
    found = ledger.drain_by
    if found is None or found.due is None:
        return text_of("ledger", "drain-unknown")
    if found.due <= ledger.as_of:
        return f"{text_of('ledger', 'drain-now')} {sentence(found.reason)}"
    doubt = found.earliest != found.latest
    values = {
        "date": show.day(found.due),
        "earliest": show.day(found.earliest) if found.earliest and doubt else None,
        "latest": show.day(found.latest) if found.latest and doubt else None,
    }
    return f"{text_of('ledger', 'drain-by', values)} {sentence(found.reason)}"


def since_lines(ledger: Ledger, units: UnitSystem) -> Iterator[str]:
    """Since when it counts, who was in, what was filled in and let out, and what went in, a sentence each."""
    if ledger.since is None:
        yield text_of("ledger", "since-unknown")
    else:
        yield text_of("ledger", "since", {"since": show.day(ledger.since), "weeks": round(ledger.weeks, 1)})
    basis = text_of("ledger", f"uses-{ledger.uses_basis}")
    yield text_of(
        "ledger", "uses", {"uses": round(ledger.uses, 1), "week": round(ledger.uses_per_week, 1), "basis": basis}
    )
    if ledger.since is not None:
        yield text_of("ledger", "water", {"litres_in": ledger.litres_in, "litres_out": ledger.litres_out}, units)
    if ledger.products:
        added = ", ".join(
            f"{show.grams(grams, units)} {named(name)}" for name, grams in sorted(ledger.products.items())
        )
        yield text_of("ledger", "added", {"list": added})


def _rule(ledger: Ledger, date: DrainDate, units: UnitSystem) -> Iterator[str]:
    due = date.due
    word = "never" if due is None else "now" if due <= ledger.as_of else ""
    when = text_of("ledger", word) if word else date_words(ledger, date)
    said = text_of("ledger", "rule", {"date": when, "text": sentence(date.reason, units)})
    used = f" {text_of('ledger', 'used', {'used': date.used})}" if date.used else ""
    advises = "" if date.rule.decides else f" {text_of('ledger', 'advises')}"
    yield bullet(said + used + advises)
    yield filled(explain(date.reason), "    ", "    ")


def date_words(ledger: Ledger, date: DrainDate) -> str:
    """By when a rule wants the water changed, empty where it names no day; in a few months as a day, else coarser."""
    return show.about_day(date.due, ledger.as_of, _EXACT) if date.due else ""


def _row(built: Built) -> str:
    values = {name: figure(getattr(built.now, name), built.unit) for name in ("median", "low", "high")}
    fill = figure(built.fill.median, built.unit)
    return text_of("ledger", "row", {"key": text_of("built", built.key), "unit": built.unit, "fill": fill, **values})


def _change(change: WaterChange, units: UnitSystem) -> Iterator[str]:
    yield text_of("ledger", "change", {"litres": change.litres * change.steps, "left": change.left}, units)
    for before, after in zip(change.before, change.after, strict=True):
        values = {"key": text_of("built", before.key), "unit": before.unit}
        values |= {"before": figure(before.now.median, before.unit), "after": figure(after.now.median, after.unit)}
        values |= {name: figure(getattr(after.now, name), after.unit) for name in ("low", "high")}
        yield bullet(text_of("ledger", "change-row", values))
    yield bullet(text_of("ledger", "change-uses", {"uses": round(change.uses, 1)}))
    yield bullet(f"{text_of('ledger', 'change-date')} {drain_words(change)}")


def figure(value: float, unit: str) -> str:
    """A value of what is in the water as a reader wants it."""
    return show.fixed(value, 1) if unit == "" else show.believed(value)
