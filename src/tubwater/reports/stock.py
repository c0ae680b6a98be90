"""The shelf and the money for a terminal of 80 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from typing import Any

from tubwater.reports import units as show
from tubwater.reports.text import explain, sentence, text_of
from tubwater.services.lookup import all_methods, all_substances
from tubwater.services.stock import Candidate, Cost, Pack, Pot, Purchase, ShelfReport
from tubwater.services.tubfile import UnitSystem
from tubwater.tub import Reason

__all__ = ["money", "purchase_words", "render_shelf"]

_WIDTH = 80
_METRIC = UnitSystem.METRIC
_LIKELY = 0.02  # a narrower spread is not worth telling


def render_shelf(report: ShelfReport, units: UnitSystem = _METRIC) -> str:
    """Each product, strips and reagents, what to buy, what it costs, what is cheapest, what must be kept apart."""
    blocks = [
        (_say("title"), _pots(report, units)),
        (_say("packs"), _packs(report)),
        (_say("shopping", weeks=report.weeks), _shopping(report, units)),
        (_say("money"), _money(report)),
        (_say("cheapest"), _cheapest(report, units)),
        (_say("apart"), _apart(report)),
    ]
    told = [(head, list(lines)) for head, lines in blocks]
    parts = [line for head, lines in told if lines for line in (head, *lines, "")]
    return "\n".join([*parts, _bullet(_say("caution"), "! ")]) + "\n"


def _say(kind: str, units: UnitSystem = _METRIC, **values: object) -> str:
    return text_of("stock", kind, values, units)


def _pots(report: ShelfReport, units: UnitSystem) -> Iterator[str]:
    if not report.pots:
        yield _bullet(_say("none"))
    for pot in report.pots:
        lines = [*_left(pot, units), _use(pot, units), *_lasts(pot), *_good(pot)]
        lines += [sentence(pot.refusal)] if pot.refusal else []
        yield _bullet(f"{pot.product.name}: {' '.join(lines)}")


def _left(pot: Pot, units: UnitSystem) -> Iterator[str]:
    left = pot.left
    if left.grams is None or left.since is None:
        yield _say("left-unknown")
        return
    wide = left.grams.high - left.grams.low > _LIKELY * max(left.grams.value, 1.0)
    values: dict[str, Any] = {
        "grams": left.grams.value,
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
    return _say(f"use-{use.basis}", units, weeks=weeks, **spread)


def _lasts(pot: Pot) -> Iterator[str]:
    grams, lasts = pot.left.grams, pot.lasts
    if grams is None or not pot.use.known or pot.use.per_week.value <= 0.0:
        return
    if grams.value <= 0.0:
        yield _say("empty")
    elif lasts.until is None:
        yield _say("lasts-long")
    elif lasts.latest is None and lasts.earliest:
        yield _say("lasts-least", until=show.day(lasts.until), earliest=show.day(lasts.earliest))
    else:
        spread = lasts.earliest != lasts.latest
        ends: dict[str, Any] = {name: show.day(at) if spread and at else None
                for name, at in (("earliest", lasts.earliest), ("latest", lasts.latest))}  # fmt: skip
        yield _say("lasts", until=show.day(lasts.until), **ends)


def _good(pot: Pot) -> Iterator[str]:
    if pot.good.day is not None:
        yield _say("past" if pot.over else "good-until", day=show.day(pot.good.day), why=_why(pot.good.reason))


def _why(reason: Reason | None) -> str:
    """The reason, with the mark of what is from memory."""
    if reason is None:
        return ""
    marked = reason.basis is not None and not reason.basis.verified
    return f"{sentence(reason)} ({explain(reason)}.)" if marked else sentence(reason)


def _packs(report: ShelfReport) -> Iterator[str]:
    for pack in report.packs:
        yield _bullet(_pack(pack))
    if report.doubtful:
        yield _bullet(_say("doubtful", count=len(report.doubtful), day=show.day(report.doubtful[-1][0])), "! ")


def _pack(pack: Pack) -> str:
    values: dict[str, Any] = {"method": _method(pack.reagents.method), "name": pack.reagents.name}
    if pack.good.day is None:
        return _say("pack-unknown", **values)
    kind = "pack-over" if pack.over else "pack"
    return _say(kind, day=show.day(pack.good.day), why=_why(pack.good.reason), **values)


def _method(key: str) -> str:
    return next((m.name for m in all_methods() if m.key == key), key)


def _shopping(report: ShelfReport, units: UnitSystem) -> Iterator[str]:
    if not report.shopping:
        yield _bullet(_say("shopping-none"))
    for purchase in report.shopping:
        yield _bullet(purchase_words(report, purchase, units))


def purchase_words(report: ShelfReport, purchase: Purchase, units: UnitSystem = _METRIC) -> str:
    """One thing to buy: how much, what for, until when."""
    size = next((p.product.package.grams for p in report.pots if p.product.name == purchase.what), None)
    names = {m.key: m.name for m in all_methods()}
    values: dict[str, Any] = {
        "what": names.get(purchase.what, purchase.what),
        "packages": purchase.packages or None,
        "size": size if purchase.packages else None,
        "grams": purchase.grams if purchase.grams and not purchase.packages else None,
        "price": money(purchase.price, purchase.currency) if purchase.price is not None else None,
    }
    when = _say("by", day=show.day(purchase.by)) if purchase.by else _say("by-now")
    return f"{_say('purchase', units, why=sentence(purchase.reason, units), **values)[:-1]}; {when}."


def _money(report: ShelfReport) -> Iterator[str]:
    if not report.money.costs:
        yield _bullet(_say("money-none"))
    for cost in report.money.costs:
        yield from map(_bullet, _cost(report, cost))
    if report.money.costs and report.money.unpriced:
        yield _bullet(_say("unpriced", list=", ".join(report.money.unpriced)))


def _cost(report: ShelfReport, cost: Cost) -> Iterator[str]:
    week, of = cost.per_week, cost.currency
    wide = week.high - week.low > _LIKELY * max(week.value, 0.01)
    ends: dict[str, Any] = {name: money(getattr(week, name), of) if wide else None for name in ("low", "high")}
    shares = _say("part", list=", ".join(f"{money(part, of)} {name}" for name, part in cost.parts))
    yield f"{_say('week', value=money(week.value, of), **ends)[:-1]}: {shares}."
    if cost.per_soak is not None:
        basis = text_of("soaks", report.money.soaks_basis)
        yield _say("soak", value=money(cost.per_soak, of), soaks=report.money.soaks_per_week, basis=basis)
    if cost.after_soak is not None:
        yield _say("after-soak", value=money(cost.after_soak, of))


def money(amount: float, currency: str) -> str:
    """An amount with its currency as the keeper wrote it; small ones to a hundredth of the smallest coin."""
    return f"{amount:.2f} {currency}" if amount >= 0.1 or amount == 0.0 else f"{amount:.3f} {currency}"


def _cheapest(report: ShelfReport, units: UnitSystem) -> Iterator[str]:
    for need, candidates in report.cheapest:
        yield textwrap.fill(f"{text_of('need', need)}:", _WIDTH, initial_indent="  ", subsequent_indent="  ")
        yield from (_bullet(_candidate(candidate, units), "- ", "    ") for candidate in candidates)


def _candidate(candidate: Candidate, units: UnitSystem) -> str:
    name = candidate.product.name
    if candidate.against:
        return _say("candidate-not", name=name, why=" ".join(map(sentence, candidate.against)))
    adds = ", ".join(
        _say("add" if amount > 0.0 else "take", amount=abs(amount), name=text_of("stays", key))
        for key, amount in candidate.adds.items()
    )
    price = money(candidate.price, candidate.currency) if candidate.price is not None else None
    offered = "" if candidate.in_hand else _say("offered")
    kind = "candidate" if candidate.now else "candidate-not-now"
    hazards = ", ".join(next(s.hazards for s in all_substances() if s.key == candidate.product.substance))
    values: dict[str, Any] = {"name": name, "grams": candidate.grams, "price": price, "adds": adds, "hazards": hazards}
    return _say(kind, units, offered=offered, **values)


def _apart(report: ShelfReport) -> Iterator[str]:
    if not report.never:
        yield _bullet(_say("apart-none"))
        return
    for pair in report.never:
        yield _bullet(_say("apart-pair", first=pair.first, second=pair.second, effect=_effect(pair.effect)))
    yield textwrap.fill(_say("places", count=len(report.places)), _WIDTH, initial_indent="  ", subsequent_indent="  ")
    for number, names in enumerate(report.places, 1):
        yield _bullet(_say("place", number=number, names=", ".join(names)), "", "    ")
    for rule in report.storage:
        mark = "" if rule.basis.verified else "\u00a0*"
        yield _bullet(text_of("safety-rule", rule.key) + mark)


def _effect(effect: str) -> str:
    return text_of("effect", effect).rstrip(".")


def _bullet(text: str, mark: str = "- ", indent: str = "  ") -> str:
    return textwrap.fill(text, _WIDTH, initial_indent=indent + mark, subsequent_indent=indent + "  ")
