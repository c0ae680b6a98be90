"""How much oxidizer brings sanitizer that was lost back, so that it holds overnight."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tubwater.advice.decide import Kit, oxidizer_to
from tubwater.advice.now import Situation
from tubwater.advice.safety import SHOCK_HEADROOM, cap_grams
from tubwater.advice.timeline import MOST_PARTS, Timeline
from tubwater.chemistry import KG_PER_LITRE, Composition, Water, freeze
from tubwater.dynamics import Mode, Rates, TubState, advance
from tubwater.facts import defaults
from tubwater.tub import Product, Reason

__all__ = ["SHOCK_ENOUGH", "oxidizer_waits", "shock_most", "shock_notes", "shock_to_hold"]

Array = NDArray[np.float64]
SHOCK_ENOUGH = 0.8  # of the shock that was asked for (judgement)
_SIZES = 12  # shocks tried
_MEMBERS = 200
_HOLDS = 0.9  # probability with which a shock has to hold (judgement)
_TAIL = 0.95  # of the waters stay below the most (judgement)


def shock_to_hold(case: Situation, kit: Kit) -> float:
    """Grams for sanitizer that was lost: the smallest shock that most likely still holds the lower aim at the second
    reading, the night after with the cover closed; no less than to the lower end of ``shock_mg``, and no more than
    ``shock_most_mg`` and the parts of one visit allow."""
    if kit.oxidizer is None:
        return 0.0
    thin, recipe = case.belief.thinned(min(_MEMBERS, case.belief.size)), case.products.compositions[kit.oxidizer.name]
    most = _most(case, kit, kit.oxidizer, recipe)
    least = min(oxidizer_to(case, kit, defaults()["shock_mg"].low), most)
    grams = np.linspace(least, most, _SIZES)
    state = _oxidized(thin.state, thin.rates, recipe, grams[:, None])
    buffer, hours = freeze(thin.state.water), defaults()["two_readings_hours"].value
    state = advance(state, thin.rates, 1.0, Mode.CIRCULATING, None, buffer, longest=1.0)
    state = advance(state, thin.rates, hours, Mode.COVERED, None, buffer, longest=4.0)
    low = case.limits(case.sanitizer_quantity).aim_low
    held = np.mean(case.sanitizer_of(state) >= low, axis=1) >= _HOLDS
    return float(grams[int(np.argmax(held))] if held.any() else grams[-1])


def shock_most(kit: Kit) -> float:
    """What a declared recovery may reach in nineteen of twenty waters, mg/L on the tub's own scale; hypochlorite raises
    the pH, so that it stays at the usual shock and what a measure may be out."""
    if kit.oxidizer is not None and kit.oxidizer.substance == "monopersulfate":
        return defaults()["shock_most_mg"].value
    return SHOCK_HEADROOM * defaults()["shock_mg"].value


def shock_notes(line: Timeline, oxidizer: Product, wanted: float) -> list[Reason]:
    """Says so where the limits let in clearly less oxidizer than the recovery asks for, ``wanted`` g, or where all
    that went in may not be enough for what the water owes."""
    given = line.given(oxidizer)
    if wanted <= 0.0:  # no room for any: a reading of nothing may be a bleached one
        held = line.beside.expect(line.case.sanitizer_quantity)[0].median < _floor(line)
        return [Reason("shock-held-back", {"product": oxidizer.name})] if held else []
    if given >= SHOCK_ENOUGH * wanted:
        return _used_up(line)
    if given <= 0.0:
        return [Reason("shock-held-back", {"product": oxidizer.name})]
    return [Reason("shock-in-parts", {"grams": wanted - given, "product": oxidizer.name})]


def oxidizer_waits(line: Timeline, oxidizer: Product | None, later: bool) -> list[Reason]:
    """Says so where the sanitizer was read below what bathing needs and no oxidizer goes in; ``later``: it is left for
    another time."""
    case, quantity = line.case, line.case.sanitizer_quantity
    reading, low = case.last_valid(quantity), case.limits(quantity).bathing_low
    if oxidizer is None or later or line.given(oxidizer) > 0.0 or reading is None or case.middle(reading) >= low:
        return []
    value = line.beside.expect(quantity)[0].median
    values: dict[str, float | str] = {"product": oxidizer.name, "quantity": str(quantity), "value": value, "low": low}
    return [Reason("oxidizer-waits", values)] if value < low else []


def _used_up(line: Timeline) -> list[Reason]:
    quantity = line.case.sanitizer_quantity
    low, end = _floor(line), line.beside.expect(quantity)[0].median
    values: dict[str, float | str] = {"quantity": str(quantity), "value": end, "low": low}
    return [Reason("shock-may-be-used-up", values)] if end < low else []


def _floor(line: Timeline) -> float:
    return line.case.limits(line.case.sanitizer_quantity).keep_out_low


def _most(case: Situation, kit: Kit, product: Product, recipe: Composition) -> float:
    """Grams at which nineteen of twenty waters reach the most, once what takes halogen at once has had it."""
    present = case.sanitizer_of(case.state) - case.state.water.reductant * case.grams_per_mol * 1000.0 * KG_PER_LITRE
    room = shock_most(kit) - float(np.quantile(present, _TAIL))
    litres = float(np.median(case.rates.litres))
    grams = max(room, 0.0) * litres / 1000.0 / (recipe.oxidant * case.grams_per_mol)
    return min(grams, MOST_PARTS * cap_grams(product, litres))


def _oxidized(state: TubState, rates: Rates, recipe: Composition, grams: Array) -> TubState:
    """The tub with ``grams`` (C, 1) of an oxidizer in, shape (C, M)."""
    shape = np.broadcast_shapes(grams.shape, state.ph.shape)
    wide = np.broadcast_to(state.water.totals[:, None, :], (len(state.water.totals), *shape))
    totals = wide + recipe.per_gram[:, None, None] * grams / (rates.litres * KG_PER_LITRE)
    tablets, count, opening, ph = (
        np.broadcast_to(a, shape) for a in (state.tablet_grams, state.tablet_count, state.opening, state.ph)
    )
    return TubState(Water(np.broadcast_to(state.water.temperature, shape), totals), tablets, count, opening, ph)
