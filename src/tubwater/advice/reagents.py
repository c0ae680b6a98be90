"""Strips and reagents past their date, and the tests that they make doubtful."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from tubwater.facts.shelf_life import shelf_lives
from tubwater.tub import Event, Package, Product, Reagents, Reason, Tested

__all__ = ["GoodUntil", "doubtful_tests", "product_good_until", "reagents_good_until"]


@dataclass(frozen=True)
class GoodUntil:
    """The last day on which something is good, None where nobody knows, and what says so."""

    day: date | None
    reason: Reason | None = None

    def over(self, today: date) -> bool:
        """Whether it is past."""
        return self.day is not None and today > self.day


def reagents_good_until(pack: Reagents) -> GoodUntil:
    """The earlier of the date on the package and the usual time after opening."""
    return _good_until(pack.method, pack.opened, pack.expires)


def product_good_until(product: Product) -> GoodUntil:
    """The same for a product."""
    package: Package = product.package
    return _good_until(product.substance, package.opened, package.expires)


def _good_until(key: str, opened: date | None, expires: date | None) -> GoodUntil:
    life = shelf_lives().get(key)
    known = [GoodUntil(expires, Reason("good-until-label"))] if expires else []
    if life and opened:
        day = opened + timedelta(days=life.days_open)
        known.append(GoodUntil(day, Reason("good-until-open", {"days": life.days_open}, life.basis)))
    return min(known, key=lambda found: found.day or date.max, default=GoodUntil(None))


def doubtful_tests(packs: Sequence[Reagents], events: Iterable[Event]) -> tuple[tuple[datetime, str], ...]:
    """Time and method of the tests for which every pack of that method then open was past its date."""
    tests = [event for event in events if isinstance(event, Tested) and event.readings]
    found = [(test.at, test.readings[0].method) for test in tests]
    return tuple((at, method) for at, method in found if _spoiled(packs, method, at.date()))


def _spoiled(packs: Sequence[Reagents], method: str, day: date) -> bool:
    mine = [p for p in packs if p.method == method and (p.opened is None or p.opened <= day)]
    return bool(mine) and all(reagents_good_until(pack).over(day) for pack in mine)
