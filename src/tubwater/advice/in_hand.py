"""A plan against what is on the shelf: a step that takes more than is left, or something past its date, says so."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from tubwater.advice.now import Situation
from tubwater.advice.reagents import product_good_until
from tubwater.advice.stock import left_of, taken_from_shelf
from tubwater.tub import Plan, Product, Reason

__all__ = ["with_shelf"]

_LITTLE = 0.5  # g; less than that is nothing that anybody could add


def with_shelf(plan: Plan, case: Situation) -> Plan:
    """The plan with what its steps have to know of the shelf, and with what is to be bought for them."""
    told = list(_told(plan, case))
    steps = tuple(replace(step, reasons=(*step.reasons, *more)) for step, more in zip(plan.steps, told, strict=True))
    bought = {(r.kind, r.values["product"]): r for more in told for r in map(_bought, more)}
    return replace(plan, steps=steps, shopping=(*plan.shopping, *bought.values())) if bought else plan


def _told(plan: Plan, case: Situation) -> Iterator[tuple[Reason, ...]]:
    shelf, spent = {product.name: product for product in case.shelf.products}, dict[str, float]()
    for step in plan.steps:
        product = shelf.get(step.amount.product) if step.amount and step.amount.grams > 0.0 else None
        if product is None:
            yield ()
            continue
        before = spent.get(product.name, 0.0)
        wants = taken_from_shelf(case, step)
        spent[product.name] = before + wants
        yield (*_too_little(case, product, wants, before), *_too_old(case, product))


def _too_little(case: Situation, product: Product, wants: float, before: float) -> Iterator[Reason]:
    """Told where the middle of what is left, less what the plan took before, is not enough."""
    left = left_of(case, product).grams
    if left is None or left.value - before >= wants - _LITTLE:
        return
    there = max(left.value - before, 0.0)
    kind = "shelf-has-less" if there > _LITTLE else "shelf-has-none"
    yield Reason(kind, {"product": product.name, "left": there, "rest": wants - there})


def _too_old(case: Situation, product: Product) -> Iterator[Reason]:
    good = product_good_until(product)
    if good.over(case.now.date()):
        yield Reason("past-its-date", {"product": product.name, "day": str(good.day)})


def _bought(reason: Reason) -> Reason:
    if reason.kind == "past-its-date":
        return Reason("buy-fresh", {"product": reason.values["product"]})
    return Reason("buy-more", {"product": reason.values["product"]})
