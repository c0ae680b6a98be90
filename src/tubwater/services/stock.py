"""The shelf and the money: what is left and until when, what to buy, what it costs, what must be kept apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

import numpy as np

from tubwater.advice import Situation, Wishes, make_plan
from tubwater.advice.apart import places_apart
from tubwater.advice.costs import Cost, Purchase, Stock, costs_of, plan_needs, price_per_gram, shopping_of
from tubwater.advice.needs import NEEDS, Candidate, candidates_for, needs_of
from tubwater.advice.now import substance_of
from tubwater.advice.reagents import GoodUntil, doubtful_tests, product_good_until, reagents_good_until
from tubwater.advice.stock import Lasts, Left, Range, Use, lasts, left_of, log_weeks, soaks_per_week, use_of
from tubwater.errors import InputError
from tubwater.facts.safety import SafetyRule, safety_rules
from tubwater.services.advise import case_of
from tubwater.services.safety import NeverMix, never_mix
from tubwater.services.tubfile import TubFile
from tubwater.tub import Event, Plan, Product, Reagents, Reason, Shelf, Tub

__all__ = [
    "NEEDS",
    "Candidate",
    "Cost",
    "GoodUntil",
    "Lasts",
    "Left",
    "Money",
    "Pack",
    "Pot",
    "Purchase",
    "Range",
    "ShelfReport",
    "Use",
    "cheapest_for",
    "shelf_for",
    "shelf_of",
    "shelf_of_file",
]

_WEEKS = 4.0  # that shopping is for, where nothing is said (judgement)
_MOST_WEEKS = 26.0  # a season


@dataclass(frozen=True)
class Pot:
    """One product of the shelf.

    Attributes:
        refusal: why this tub must not have it, or None. good: until when, by its dates. over: past that.
    """

    product: Product
    left: Left
    use: Use
    lasts: Lasts
    good: GoodUntil
    over: bool
    refusal: Reason | None


@dataclass(frozen=True)
class Pack:
    """Strips or reagents, until when they are good, and whether that is past."""

    reagents: Reagents
    good: GoodUntil
    over: bool


@dataclass(frozen=True)
class Money:
    """Costs by currency; ``unpriced`` are the products in use whose price or size is not known."""

    costs: tuple[Cost, ...]
    unpriced: tuple[str, ...]
    soaks_per_week: float
    soaks_basis: str


@dataclass(frozen=True)
class ShelfReport:
    """The answer.

    Attributes:
        log_weeks: of the logbook that count for the use. weeks: that shopping is for.
        doubtful: time and method of tests made with a pack past its date. never: pairs that never meet.
        places: the products in groups that may stand together. storage: the rules of keeping.
        cheapest: need to candidates, suitable and cheapest first.
    """

    as_of: datetime
    log_weeks: float
    weeks: float
    pots: tuple[Pot, ...]
    packs: tuple[Pack, ...]
    doubtful: tuple[tuple[datetime, str], ...]
    shopping: tuple[Purchase, ...]
    money: Money
    cheapest: tuple[tuple[str, tuple[Candidate, ...]], ...]
    never: tuple[NeverMix, ...]
    places: tuple[tuple[str, ...], ...]
    storage: tuple[SafetyRule, ...]


def shelf_for(
    tub: Tub,
    shelf: Shelf,
    events: Sequence[Event],
    now: datetime,
    reagents: Sequence[Reagents] = (),
    offers: Shelf | None = None,
    weeks: float = _WEEKS,
    wishes: Wishes | None = None,
    seed: int = 0,
) -> ShelfReport:
    """The shelf of a tub at ``now`` (aware datetime), with shopping for ``weeks``.

    Raises:
        InputError: the weeks are not 1 to 26.
    """
    case = case_of(tub, shelf, events, now, seed)
    return shelf_of(case, make_plan(case, wishes or Wishes(), seed), reagents, offers, weeks, seed)


def shelf_of_file(file: TubFile, now: datetime, weeks: float = _WEEKS, seed: int = 0) -> ShelfReport:
    """The shelf of a keeper's file."""
    wishes = Wishes(days=file.visit.days_until_next, occasion=file.visit.occasion)
    return shelf_for(file.tub, file.shelf, file.events, now, file.reagents, file.offers, weeks, wishes, seed)


def shelf_of(
    case: Situation,
    plan: Plan,
    reagents: Sequence[Reagents] = (),
    offers: Shelf | None = None,
    weeks: float = _WEEKS,
    seed: int = 0,
) -> ShelfReport:
    """The shelf of a situation with its plan."""
    if not 1.0 <= weeks <= _MOST_WEEKS:
        raise InputError.one("weeks", weeks, f"1 to {_MOST_WEEKS:g} weeks; buy for one season at most")
    today, rng = case.now.date(), np.random.default_rng([seed, 11])
    stocks = [_stock(case, product, plan, rng) for product in case.shelf.products]
    never = never_mix(case.shelf)
    return ShelfReport(
        as_of=case.now,
        log_weeks=log_weeks(case),
        weeks=weeks,
        pots=tuple(_pot(case, stock, today) for stock in stocks),
        packs=tuple(_pack(pack, today) for pack in reagents),
        doubtful=doubtful_tests(reagents, case.belief.events),
        shopping=shopping_of(stocks, reagents, plan, case.now, weeks, plan_needs(case, plan)),
        money=_money(case, stocks, plan),
        cheapest=tuple(cheapest_for(case, offers)),
        never=never,
        places=places_apart([p.name for p in case.shelf.products], ((pair.first, pair.second) for pair in never)),
        storage=safety_rules()["storage"],
    )


def cheapest_for(case: Situation, offers: Shelf | None = None) -> list[tuple[str, tuple[Candidate, ...]]]:
    """For each need of the tub the products that could serve it, on the shelf or offered; none, no row."""
    offered = offers.products if offers else ()
    products = [*((p, True) for p in case.shelf.products), *((p, False) for p in offered)]
    found = ((need, candidates_for(case, need, products, case.now.date())) for need in needs_of(case.tub.sanitizer))
    return [(need, candidates) for need, candidates in found if candidates]


def _stock(case: Situation, product: Product, plan: Plan, rng: np.random.Generator) -> Stock:
    left, use = left_of(case, product), use_of(case, product, plan, rng)
    return Stock(product, left, use, lasts(left, use, case.now, rng), price_per_gram(product))


def _pot(case: Situation, stock: Stock, today: date) -> Pot:
    product, good = stock.product, product_good_until(stock.product)
    return Pot(product, stock.left, stock.use, stock.lasts, good, good.over(today), _refusal(case, product))


def _refusal(case: Situation, product: Product) -> Reason | None:
    kind = substance_of(product).refusal(case.tub.sanitizer)
    return Reason(kind, {"product": product.name}) if kind else None


def _pack(pack: Reagents, today: date) -> Pack:
    good = reagents_good_until(pack)
    return Pack(pack, good, good.over(today))


def _money(case: Situation, stocks: Sequence[Stock], plan: Plan) -> Money:
    unpriced = [s.product.name for s in stocks if s.per_gram is None and s.use.known]
    return Money(costs_of(case, stocks, plan), tuple(unpriced), *soaks_per_week(case))
