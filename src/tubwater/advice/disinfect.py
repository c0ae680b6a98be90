"""Fresh water without bromide disinfected by unstabilised chlorine, before it is let out again."""

from __future__ import annotations

import numpy as np

from tubwater.advice.now import Situation, substance_of
from tubwater.advice.solve import grams_for
from tubwater.advice.timeline import Timeline
from tubwater.facts import Role, substances
from tubwater.facts.quantity import Quantity
from tubwater.facts.situations import Deed
from tubwater.tub import Product, Reason, Step, StepKind

__all__ = ["disinfecting", "is_hypochlorite", "level_test"]

_CL2 = 70.906  # g/mol
_ENOUGH = 0.9  # of the chlorine that was asked for (judgement)
_READ = (Quantity.FREE_CHLORINE, Quantity.PH)
_CAUTIONS = ("one-container", "gloves-goggles", "adult-stays")


def disinfecting(line: Timeline, case: Situation, deed: Deed) -> list[Reason]:
    """Acid first, since chlorine works little in a high pH and its own pH is high; then the chlorine and its test.

    Water that is known too little for the limits of a dose gets it by that test, with the amount that it takes.

    Returns:
        What has to be bought for it.
    """
    why = Reason(deed.why, {"value": deed.free_chlorine}, deed.basis)
    product = _hypochlorite(case)
    _acid_first(line, case, deed.acid_to)
    if product is None:
        name, grams = _to_buy(line, deed.free_chlorine)
        _by_test(line, deed, name, grams)
        return [Reason("buy", {"product": name, "grams": grams})]
    grams = deed.free_chlorine * line.litres / 1000.0 / (case.products.compositions[product.name].oxidant * _CL2)
    given = line.dose(product, grams, why, Quantity.FREE_CHLORINE, np.inf)
    if given >= _ENOUGH * grams:
        level_test(line, deed)
    else:
        _by_test(line, deed, product.name, grams - given)
    return []


def level_test(line: Timeline, deed: Deed) -> None:
    """The test from which on the time of the chlorine counts."""
    line.test(_READ, Reason("level-reached", {"value": deed.free_chlorine}, deed.basis))


def _by_test(line: Timeline, deed: Deed, product: str, grams: float) -> None:
    line.settle()
    values: dict[str, float | str] = {"product": product, "grams": grams, "value": deed.free_chlorine}
    reason = Reason("chlorine-by-test", {**values, "ph": deed.acid_to}, deed.basis)
    line.add(Step(StepKind.TEST, minutes=2.0, quantities=_READ, reasons=(reason,), cautions=_CAUTIONS))


def is_hypochlorite(case: Situation, name: str) -> bool:
    """Whether a product in hand is unstabilised chlorine that this tub may have."""
    product = next((p for p in case.shelf.products if p.name == name), None)
    if product is None or not product.strength:
        return False
    substance = substance_of(product)
    fits = Role.CHLORINE_DOSE in substance.roles and "hypochlorite" in substance.family
    return fits and not substance.refusal(case.tub.sanitizer)


def _hypochlorite(case: Situation) -> Product | None:
    return next((p for p in case.shelf.products if is_hypochlorite(case, p.name)), None)


def _acid_first(line: Timeline, case: Situation, goal: float) -> None:
    acid = case.best_product(Role.LOWER_PH)
    if acid is not None and float(np.median(line.beside.ph())) > goal:
        line.test((Quantity.PH, Quantity.TOTAL_ALKALINITY), Reason("know-before-balancing"))
        grams = grams_for(line.beside, case, acid, Quantity.PH, goal)
        line.dose(acid, grams, Reason("acid-before-chlorine", {"value": goal}), Quantity.PH, np.inf)


def _to_buy(line: Timeline, goal: float) -> tuple[str, float]:
    substance = substances()["sodium-hypochlorite"]
    oxidant = substance.composition.scaled(substance.strength[1]).oxidant
    return substance.name, goal * line.litres / 1000.0 / (oxidant * _CL2)
