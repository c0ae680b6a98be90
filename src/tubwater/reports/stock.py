"""The shelf and the money for a terminal of 80 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any

from tubwater.facts import Substance
from tubwater.reports import units as show
from tubwater.reports.text import explain, method_or, named, sentence, text_of, upper_first
from tubwater.reports.wrapped import WIDTH
from tubwater.services.lookup import all_substances
from tubwater.services.stock import Candidate, Cost, Pack, Pot, Purchase, ShelfReport
from tubwater.services.tubfile import UnitSystem
from tubwater.tub import Reason

__all__ = ["Line", "Mark", "Section", "money", "purchase_words", "render_shelf", "shelf_words"]

_METRIC = UnitSystem.METRIC
_LIKELY = 0.02  # a narrower spread is not worth telling


class Mark(StrEnum):
    """How a line stands in its section."""

    ITEM = "item"
    HEAD = "head"  # of the lines below it
    PART = "part"  # below a head
    NUMBERED = "numbered"
    ALERT = "alert"


@dataclass(frozen=True)
class Line:
    """One line of a section."""

    text: str
    mark: Mark = Mark.ITEM


@dataclass(frozen=True)
class Section:
    """A heading and its lines."""

    head: str
    lines: tuple[Line, ...]


def shelf_words(report: ShelfReport, units: UnitSystem = _METRIC) -> tuple[Section, ...]:
    """Each product, strips and reagents, what to buy, what it costs, what is cheapest, what must be kept apart."""
    blocks = (
        (_say("title"), _pots(report, units)),
        (_say("packs"), _packs(report)),
        (_say("shopping", weeks=report.weeks), _shopping(report, units)),
        (_say("money"), _money(report)),
        (_say("cheapest"), _cheapest(report, units)),
        (_say("apart"), _apart(report)),
    )
    told = ((head, tuple(lines)) for head, lines in blocks)
    caution = Section("", (Line(_say("caution"), Mark.ALERT),))
    return (*(Section(head, lines) for head, lines in told if lines), caution)


def render_shelf(report: ShelfReport, units: UnitSystem = _METRIC) -> str:
    """The same for a terminal."""
    parts = [[*([section.head] if section.head else []), *map(_wrapped, section.lines)]
             for section in shelf_words(report, units)]  # fmt: skip
    return "\n\n".join("\n".join(part) for part in parts) + "\n"


_MARKS = {
    Mark.ITEM: ("  - ", "    "),
    Mark.HEAD: ("  ", "  "),
    Mark.PART: ("    - ", "      "),
    Mark.NUMBERED: ("    ", "       "),
    Mark.ALERT: ("  ! ", "    "),
}


def _wrapped(line: Line) -> str:
    first, later = _MARKS[line.mark]
    return textwrap.fill(line.text, WIDTH, initial_indent=first, subsequent_indent=later)


def _say(kind: str, units: UnitSystem = _METRIC, **values: object) -> str:
    return text_of("stock", kind, values, units)


def _pots(report: ShelfReport, units: UnitSystem) -> Iterator[Line]:
    if not report.pots:
        yield Line(_say("none"))
    for pot in report.pots:
        lines = [*_left(pot, units), _use(pot, units), *_lasts(pot, report.as_of), *_good(pot)]
        lines += [sentence(pot.refusal)] if pot.refusal else []
        yield Line(f"{named(pot.product.name)}: {' '.join(lines)}")


def _left(pot: Pot, units: UnitSystem) -> Iterator[str]:
    left = pot.left
    if left.grams is None or left.since is None:
        yield _say("left-unknown")
        return
    wide = left.grams.high - left.grams.low > _LIKELY * max(left.grams.value, 1.0)
    values: dict[str, Any] = {
        "grams": _say("left-about", units, grams=left.grams.value) if wide else show.grams(left.grams.value, units),
        "low": left.grams.low if wide else None,
        "high": left.grams.high if wide else None,
        "since": show.day(left.since),
        "used": left.used or None,
    }
    yield _say(f"left-{left.basis}", units, **values)
    if left.over > 0.0:
        yield _say("over", units, over=left.over)


def _use(pot: Pot, units: UnitSystem) -> str:
    use = pot.use
    spread: dict[str, Any] = {
        "value": use.per_week.value,
        "low": use.per_week.low,
        "high": use.per_week.high,
        "once": use.once,
    }
    weeks = round(use.weeks) if use.weeks >= 2.0 or use.basis != "unknown" else None
    slow = any(str(role).startswith("slow") for role in _substance(pot).roles)
    kind = "use-untold" if slow and use.basis == "unknown" else f"use-{use.basis}"
    return _say(kind, units, weeks=weeks, **spread)


def _substance(pot: Pot) -> Substance:
    return next(known for known in all_substances() if known.key == pot.product.substance)


def _lasts(pot: Pot, now: datetime) -> Iterator[str]:
    grams, lasts = pot.left.grams, pot.lasts
    if grams is None or not pot.use.known or pot.use.per_week.value <= 0.0:
        return
    if grams.value <= 0.0:
        yield _say("empty")
    elif lasts.until is None:
        yield _say("lasts-long")
    elif lasts.latest is None and lasts.earliest:
        yield _say("lasts-least", until=show.about_day(lasts.until, now), earliest=show.about_day(lasts.earliest, now))
    else:
        ends = {name: show.about_day(at, now) if at else None
                for name, at in (("earliest", lasts.earliest), ("latest", lasts.latest))}  # fmt: skip
        spread: dict[str, Any] = ends if ends["earliest"] != ends["latest"] else {}
        yield _say("lasts", until=show.about_day(lasts.until, now), **spread)


def _good(pot: Pot) -> Iterator[str]:
    if pot.good.day is not None:
        yield _say("past" if pot.over else "good-until", day=show.day(pot.good.day), why=_why(pot.good.reason))


def _why(reason: Reason | None) -> str:
    """The reason, with the mark of what is from memory."""
    if reason is None:
        return ""
    marked = reason.basis is not None and not reason.basis.verified
    return f"{sentence(reason)} ({explain(reason)}.)" if marked else sentence(reason)


def _packs(report: ShelfReport) -> Iterator[Line]:
    for pack in report.packs:
        yield Line(_pack(pack))
    if report.doubtful:
        yield Line(_say("doubtful", count=len(report.doubtful), day=show.day(report.doubtful[-1][0])), Mark.ALERT)


def _pack(pack: Pack) -> str:
    method = method_or(pack.reagents.method)
    values: dict[str, Any] = {"method": upper_first(method), "name": pack.reagents.name}
    if pack.good.day is None:
        return _say("pack-unknown", **values)
    kind = "pack-over" if pack.over else "pack"
    return _say(kind, day=show.day(pack.good.day), why=_why(pack.good.reason), **values)


def _shopping(report: ShelfReport, units: UnitSystem) -> Iterator[Line]:
    if not report.shopping:
        yield Line(_say("shopping-none"))
    for purchase in report.shopping:
        yield Line(purchase_words(report, purchase, units))


def purchase_words(report: ShelfReport, purchase: Purchase, units: UnitSystem = _METRIC) -> str:
    """One thing to buy: how much, what for, until when."""
    size = next((p.product.package.grams for p in report.pots if p.product.name == purchase.what), None)
    values: dict[str, Any] = {
        "what": method_or(purchase.what),
        "packages": purchase.packages or None,
        "size": size if purchase.packages else None,
        "grams": purchase.grams if purchase.grams and not purchase.packages else None,
        "price": money(purchase.price, purchase.currency) if purchase.price is not None else None,
    }
    when = _say("by", day=show.day(purchase.by)) if purchase.by else _say("by-now")
    return _say("purchase", units, why=sentence(purchase.reason, units), when=when, **values)


def _money(report: ShelfReport) -> Iterator[Line]:
    if not report.money.costs:
        yield Line(_say("money-none"))
    for cost in report.money.costs:
        yield from map(Line, _cost(report, cost))
    if report.money.costs and report.money.unpriced:
        yield Line(_say("unpriced", list=", ".join(map(named, report.money.unpriced))))


def _cost(report: ShelfReport, cost: Cost) -> Iterator[str]:
    week, of = cost.per_week, cost.currency
    wide = week.high - week.low > _LIKELY * max(week.value, 0.01)
    ends: dict[str, Any] = {name: money(getattr(week, name), of) if wide else None for name in ("low", "high")}
    shares = ", ".join(f"{money(part, of)} {named(name)}" for name, part in cost.parts)
    yield _say("week", value=money(week.value, of), list=shares, **ends)
    if cost.per_soak is not None:
        basis = text_of("soaks", report.money.soaks_basis)
        yield _say("soak", value=money(cost.per_soak, of), soaks=report.money.soaks_per_week, basis=basis)
    if cost.after_soak is not None:
        yield _say("after-soak", value=money(cost.after_soak, of))


def money(amount: float, currency: str) -> str:
    """An amount with its currency as the keeper wrote it; small ones to a hundredth of the smallest coin."""
    return f"{show.fixed(amount, 2 if amount >= 0.1 or amount == 0.0 else 3)} {currency}"


def _cheapest(report: ShelfReport, units: UnitSystem) -> Iterator[Line]:
    for need, candidates in report.cheapest:
        yield Line(f"{text_of('need', need)}:", Mark.HEAD)
        yield from (Line(_candidate(candidate, units), Mark.PART) for candidate in candidates)


def _candidate(candidate: Candidate, units: UnitSystem) -> str:
    name = named(candidate.product.name)
    if candidate.against:
        return _say("candidate-not", name=name, why=" ".join(map(sentence, candidate.against)))
    adds = ", ".join(
        _say("add" if amount > 0.0 else "take", amount=abs(amount), name=text_of("stays", key))
        for key, amount in candidate.adds.items()
    )
    price = money(candidate.price, candidate.currency) if candidate.price is not None else None
    offered = "" if candidate.in_hand else _say("offered")
    kind = "candidate" if candidate.now else "candidate-not-now"
    found = next(s.hazards for s in all_substances() if s.key == candidate.product.substance)
    hazards = ", ".join(text_of("hazard", hazard) for hazard in found)
    values: dict[str, Any] = {"name": name, "grams": candidate.grams, "price": price, "adds": adds, "hazards": hazards}
    return _say(kind, units, offered=offered, **values)


def _apart(report: ShelfReport) -> Iterator[Line]:
    if not report.never:
        yield Line(_say("apart-none"))
        return
    for pair in report.never:
        yield Line(_say("apart-pair", first=named(pair.first), second=named(pair.second), effect=_effect(pair.effect)))
    yield Line(_say("places", count=len(report.places)), Mark.HEAD)
    for number, names in enumerate(report.places, 1):
        yield Line(_say("place", number=number, names=", ".join(map(named, names))), Mark.NUMBERED)
    for rule in report.storage:
        mark = "" if rule.basis.verified else "\u00a0*"
        yield Line(text_of("safety-rule", rule.key) + mark)


def _effect(effect: str) -> str:
    return text_of("effect", effect).rstrip(".")
