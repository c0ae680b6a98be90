"""What the care of a tub costs, a week and a soak, and what to buy before it runs out."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from tubwater.advice.now import Situation
from tubwater.advice.reagents import product_good_until, reagents_good_until
from tubwater.advice.stock import Lasts, Left, Range, Use, soaks_per_week, taken_from_shelf
from tubwater.tub import Plan, Product, Reagents, Reason

__all__ = ["Cost", "Purchase", "Stock", "costs_of", "plan_needs", "price_per_gram", "shopping_of"]

_OF_STOCKS = frozenset(("buy-more", "buy-fresh"))  # that the stocks tell themselves, with grams and packages


@dataclass(frozen=True)
class Stock:
    """One product: what is left, how fast it goes, until when it lasts, and a price for each gram (None: not known)."""

    product: Product
    left: Left
    use: Use
    lasts: Lasts
    per_gram: float | None


@dataclass(frozen=True)
class Cost:
    """What is spent in one currency.

    Attributes:
        per_week: expected, with its spread where the use has one. per_soak: a week's cost shared among its soaks, None
            without any. after_soak: of the dose after a soak for each person and half-hour, None where it is not known.
        parts: product to its share a week, the dearest first.
    """

    currency: str
    per_week: Range
    per_soak: float | None
    after_soak: float | None
    parts: tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class Purchase:
    """Something to buy.

    Attributes:
        what: the keeper's name or that of a substance or method. by: when it is needed, None for now. grams: how much,
            0 where it cannot be told. packages: of the size bought before, 0 where none is known. price: of them all.
    """

    what: str
    reason: Reason
    by: datetime | None = None
    grams: float = 0.0
    packages: int = 0
    price: float | None = None
    currency: str = ""


def price_per_gram(product: Product) -> float | None:
    """Price of a gram of product, in its own currency; None where price or size is not known."""
    package = product.package
    return None if package.price is None or not package.grams else package.price / package.grams


def costs_of(case: Situation, stocks: Sequence[Stock], plan: Plan) -> tuple[Cost, ...]:
    """Costs by currency; sums of different currencies are never added up."""
    priced = [s for s in stocks if s.per_gram is not None and s.use.known]
    by_currency: dict[str, list[Stock]] = {}
    for stock in priced:
        by_currency.setdefault(stock.product.package.currency, []).append(stock)
    soaks = soaks_per_week(case)[0]
    return tuple(_cost(currency, mine, soaks, _after(plan, mine)) for currency, mine in by_currency.items())


def _cost(currency: str, stocks: Sequence[Stock], soaks: float, after_soak: float | None) -> Cost:
    """The spreads of the uses add up as independent ones."""
    parts = {s.product.name: (s.per_gram or 0.0) * s.use.per_week.value for s in stocks}
    week = sum(parts.values())
    down = math.hypot(*((s.per_gram or 0.0) * (s.use.per_week.value - s.use.per_week.low) for s in stocks))
    up = math.hypot(*((s.per_gram or 0.0) * (s.use.per_week.high - s.use.per_week.value) for s in stocks))
    ranked = tuple(sorted(parts.items(), key=lambda part: -part[1]))
    per_soak = week / soaks if soaks > 0.0 else None
    return Cost(currency, Range(week, max(week - down, 0.0), week + up), per_soak, after_soak, ranked)


def _after(plan: Plan, stocks: Iterable[Stock]) -> float | None:
    amount = plan.after_soak.amount if plan.after_soak else None
    mine = next((s for s in stocks if amount and s.product.name == amount.product), None)
    return mine.per_gram * amount.grams if mine and amount and mine.per_gram is not None else None


def shopping_of(
    stocks: Sequence[Stock],
    packs: Sequence[Reagents],
    plan: Plan,
    now: datetime,
    weeks: float,
    needed: Mapping[str, float],
) -> tuple[Purchase, ...]:
    """What to buy so that nothing is missing for ``weeks``, what is needed first at the top.

    Args:
        needed: product to what the plan takes of it from the shelf, g.
    """
    missing = (r for r in plan.shopping if r.kind not in _OF_STOCKS)
    found = [Purchase(str(r.values["product"]), Reason("buy-missing")) for r in missing]
    for stock in stocks:
        bought = _purchase(stock, needed.get(stock.product.name, 0.0), now, weeks)
        found += [bought] if bought else []
    for method in dict.fromkeys(pack.method for pack in packs):
        found += _reagents([pack for pack in packs if pack.method == method], now, weeks)
    return tuple(sorted(found, key=lambda p: p.by or now))


def plan_needs(case: Situation, plan: Plan) -> Mapping[str, float]:
    """Product to what the plan takes of it from the shelf, g."""
    found: dict[str, float] = {}
    for step in plan.steps:
        if step.amount:
            found[step.amount.product] = found.get(step.amount.product, 0.0) + taken_from_shelf(case, step)
    return found


def _purchase(stock: Stock, plan_needs: float, now: datetime, weeks: float) -> Purchase | None:
    left, use, until = stock.left.grams, stock.use, product_good_until(stock.product)
    usable = 0.0 if until.over(now.date()) else left.low if left else None
    need = max(use.per_week.high * weeks, plan_needs)
    if until.over(now.date()) and (need > 0.0 or stock.left.grams is None):
        return _of(stock, Reason("buy-over", {"day": str(until.day)}), None, need)
    if usable is None or left is None:
        return None
    if plan_needs > left.value:
        return _of(stock, Reason("buy-for-plan", {"grams": plan_needs}), None, need - left.value)
    soon = stock.lasts.earliest
    if soon is not None and soon <= now + timedelta(weeks=weeks):
        return _of(stock, Reason("buy-runs-out"), max(soon, now), need - usable)
    return None


def _of(stock: Stock, reason: Reason, by: datetime | None, grams: float) -> Purchase:
    package = stock.product.package
    packages = math.ceil(max(grams, 1e-9) / package.grams - 1e-9) if package.grams else 0
    packages = max(packages, 1) if package.grams else 0
    price = package.price * packages if package.price is not None and packages else None
    return Purchase(stock.product.name, reason, by, max(grams, 0.0), packages, price, package.currency)


def _reagents(packs: Sequence[Reagents], now: datetime, weeks: float) -> list[Purchase]:
    """Buy when the last good pack of a method ends within ``weeks``."""
    ends = [reagents_good_until(pack).day for pack in packs]
    known = [end for end in ends if end is not None]
    if len(known) < len(ends) or max(known) > (now + timedelta(weeks=weeks)).date():
        return []
    last = max(known)
    by = datetime(last.year, last.month, last.day, tzinfo=now.tzinfo)
    kind = "buy-over" if last < now.date() else "buy-ends"
    return [Purchase(packs[0].method, Reason(kind, {"day": str(last)}), None if by < now else by)]
