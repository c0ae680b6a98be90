"""The shelf, and what is due, of a tub in the logbook."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime

from tubwater.advice import Situation
from tubwater.services.answers import Answers
from tubwater.services.due import Due, due_of
from tubwater.services.ports import Kind, Stored
from tubwater.services.stock import ShelfReport, shelf_of
from tubwater.services.storage import KitStore
from tubwater.services.tubfile import TubFile
from tubwater.tub import Package, Product, Reagents, Shelf

__all__ = ["due_of_tub", "kit_reagents", "shelf_counted", "shelf_of_tub"]


def shelf_of_tub(answers: Answers, kits: KitStore, tub: str, file: TubFile, weeks: float = 4.0) -> ShelfReport:
    """The shelf of a tub now, with shopping for ``weeks``; ``file`` is what its logbook says.

    Raises:
        UnknownEntry: no such tub. InputError: the weeks are not 1 to 26.
    """
    plan = answers.plan(tub)
    return shelf_of(_counted_case(answers, tub), plan, _reagents(file, kits, tub), file.offers, weeks)


def due_of_tub(answers: Answers, kits: KitStore, tub: str, file: TubFile, days: float = 14.0) -> tuple[Due, ...]:
    """What is overdue at a tub, and what becomes due within ``days``; ``file`` is what its logbook says.

    Raises:
        UnknownEntry: no such tub. InputError: the days are not 1 to 400.
    """
    return due_of(_counted_case(answers, tub), days, _reagents(file, kits, tub))


def _counted_case(answers: Answers, tub: str) -> Situation:
    case = answers.case(tub)
    return replace(case, shelf=shelf_counted(case.shelf, answers.keeping.entries(tub), case.now))


def shelf_counted(shelf: Shelf, entries: Sequence[Stored], now: datetime) -> Shelf:
    """The shelf with the time at which each stock was counted: where nobody said, when it was entered as it stands."""
    told = [stored for stored in entries if stored.entry.kind is Kind.SHELF]
    return Shelf(tuple(_counted(product, told, now) for product in shelf.products))


def _counted(product: Product, told: Sequence[Stored], now: datetime) -> Product:
    package: Package = product.package
    if product.stock_grams is None or package.counted is not None or not told:
        return product
    newest, since = _stock(product, told[-1]), told[-1]
    for stored in reversed(told):
        if _stock(product, stored) != newest:
            break
        since = stored
    return replace(product, package=replace(package, counted=min(since.entry.happened, now)))


def _stock(product: Product, stored: Stored) -> object:
    rows = stored.entry.body.get("product", ())
    mine = (row for row in rows if row.get("name", row.get("substance")) == product.name)
    return next((row.get("stock") for row in mine), None)


def _reagents(file: TubFile, kits: KitStore, tub: str) -> tuple[Reagents, ...]:
    """Those of the description, and the kits of this tub or of any."""
    return (*file.reagents, *kit_reagents(kits, tub))


def kit_reagents(kits: KitStore, tub: str) -> tuple[Reagents, ...]:
    """The dated kits of this tub or of any."""
    mine = [kit for kit in kits.all() if kit.tub in ("", tub) and (kit.opened or kit.spoils)]
    return tuple(Reagents(kit.method, kit.name, _day(kit.opened), _day(kit.spoils)) for kit in mine)


def _day(at: datetime | None) -> date | None:
    return at.date() if at else None
