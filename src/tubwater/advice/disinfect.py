"""Fresh water without bromide disinfected by unstabilised chlorine, before it is let out again."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tubwater.advice.measures import amount_of
from tubwater.advice.now import Situation, substance_of
from tubwater.advice.solve import grams_for
from tubwater.advice.timeline import Timeline
from tubwater.chemistry import Composition
from tubwater.facts import Role, substances
from tubwater.facts.quantity import Quantity
from tubwater.facts.situations import Deed
from tubwater.tub import Product, Reason, Step, StepKind

__all__ = ["disinfecting", "is_hypochlorite", "level_test"]

_CL2 = 70.906  # g/mol
_SURELY = 1.15  # times the level that has to be there, since the litres are known only roughly (judgement)
_ENOUGH = 0.9  # of the chlorine that was asked for (judgement)
_PARTS = 6  # as many as a weak product at its cap needs (judgement)
_READ = (Quantity.FREE_CHLORINE, Quantity.PH)
_CAUTIONS = ("one-container", "gloves-goggles", "adult-stays")


def disinfecting(line: Timeline, case: Situation, deed: Deed, hold: float) -> list[Reason]:
    """Acid first, since chlorine works little in a high pH and its own pH is high; then the chlorine and its test.

    Water that is known too little for the limits of a dose gets it by that test, with the amount that it takes.

    Args:
        hold: minutes for which the level has to stay; what is expected to go in them goes in as well.

    Returns:
        What has to be bought for it.
    """
    product, present = _hypochlorite(case), _present(case)
    bought = product or _to_buy()
    why = Reason(deed.why, {"value": deed.free_chlorine, "strength": bought.strength or 0.0}, deed.basis)
    if not present:
        _acid_first(line, case, deed.acid_to)
    wanted = _SURELY * deed.free_chlorine / _left_of_it(line, hold)
    grams = _grams(line, bought, max(wanted - present, 0.0))
    given = line.dose(product, grams, why, Quantity.FREE_CHLORINE, np.inf, parts=_PARTS) if product else 0.0
    if given >= _ENOUGH * grams:
        level_test(line, replace(deed, why=""))
    else:
        _by_test(line, deed, bought, grams - given)
    return [] if product else [Reason("buy", _told(bought, grams))]


def level_test(line: Timeline, deed: Deed) -> None:
    """A test of the level: from the first the time of the chlorine counts, the last says whether it held."""
    line.test(_READ, Reason(deed.why or "level-reached", {"value": deed.free_chlorine}, deed.basis))


def _by_test(line: Timeline, deed: Deed, product: Product, grams: float) -> None:
    line.settle()
    line.beside.state = line.beside.dosed(_composition(product), grams, 0.0)
    values = {**_told(product, grams), "value": deed.free_chlorine, "ph": deed.acid_to}
    reason = Reason("chlorine-by-test", values, deed.basis)
    line.add(Step(StepKind.TEST, minutes=2.0, quantities=_READ, reasons=(reason,), cautions=_CAUTIONS))


def _told(product: Product, grams: float) -> dict[str, float | str]:
    """So much of a product, of the strength that it was computed for."""
    found: dict[str, float | str] = {"product": product.name, "grams": grams, "strength": product.strength or 0.0}
    millilitres = amount_of(product, grams).millilitres
    return {**found, "millilitres": millilitres} if millilitres else found


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
        grams = line.nearest(acid, grams_for(line.beside, case, acid, Quantity.PH, goal))
        line.dose(acid, grams, Reason("acid-before-chlorine", {"value": goal}), Quantity.PH, np.inf)


def _to_buy() -> Product:
    """What is bought where none is in hand, at the usual strength of its label."""
    substance = substances()["sodium-hypochlorite"]
    return Product(substance.name, substance.key, substance.strength[1])


def _grams(line: Timeline, product: Product, milligrams: float) -> float:
    """Of a product that brings so much free chlorine, mg/L."""
    return milligrams * line.litres / 1000.0 / (_composition(product).oxidant * _CL2)


def _composition(product: Product) -> Composition:
    return substance_of(product).composition.scaled(product.strength or 1.0)


def _present(case: Situation) -> float:
    """Free chlorine that was read since chlorine went into this fill, mg/L; 0 where none was."""
    filled = case.filled_at
    dosed = [d.at for d in case.doses() if is_hypochlorite(case, d.product) and (filled is None or d.at >= filled)]
    read = [r for r in case.readings(Quantity.FREE_CHLORINE) if dosed and r.at >= max(dosed)]
    return min(case.standard(read[0])) if read else 0.0


def _left_of_it(line: Timeline, minutes: float) -> float:
    """Share of free chlorine that is expected to be left after so long, at least half of it."""
    rates, hours = line.beside.rates, minutes / 60.0
    decay = rates.decay_at(line.beside.state.water.temperature)
    return float(np.clip(np.median(np.exp(-decay * hours)), 0.5, 1.0))
