"""Rules that no step may break: predicted pH, scale, sanitizer and the cap of each addition."""

from __future__ import annotations

import numpy as np

from tubwater.advice.beside import Beside
from tubwater.advice.measures import grams_floor, measure_spread
from tubwater.advice.now import substance_of
from tubwater.chemistry import KG_PER_LITRE, MG_PER_MOL, Composition
from tubwater.dynamics import TubState
from tubwater.facts import Role, defaults
from tubwater.tub import Product

__all__ = ["PH_HIGH", "PH_LOW", "SCALE_HIGH", "SHOCK_HEADROOM", "allowed", "cap_grams", "largest_allowed"]

PH_LOW, PH_HIGH = 6.8, 8.2
SCALE_HIGH = 0.6
SHOCK_HEADROOM = 1.3  # of a shock: a measure may be out, and monopersulfate without bromide piles up (judgement)
_TAIL = 0.05
_LEAST_PH = 5.5  # below it no oxidizer goes in, though it may hardly move such a pH: halogen leaves as gas (judgement)
_MG_PER_EQ = 50043.5


def cap_grams(product: Product, litres: float) -> float:
    """Most of a product in one addition, g, scaled from the caps stated for 1,300 L."""
    substance = substance_of(product)
    cap, strength = substance.cap_mg_per_l, product.strength or 1.0
    if cap <= 0.0:
        return float("inf")
    alkaline = abs(substance.composition.alkalinity) * _MG_PER_EQ  # mg CaCO3 per g
    if substance.roles & {Role.LOWER_PH, Role.RAISE_ALKALINITY, Role.RAISE_PH} and alkaline > 0.0:
        return cap * litres / 1000.0 / (alkaline / 1000.0 * strength)
    if Role.RAISE_CALCIUM in substance.roles:
        hardness = float(substance.composition.scaled(strength).per_gram[1]) * 100087.0 / 1000.0  # g CaCO3 per g
        return cap * litres / 1000.0 / max(hardness, 1e-9)
    return cap * litres / 1000.0


def allowed(beside: Beside, after: TubState, sanitizer_high: float) -> bool:
    """Whether a state may follow the present one: inside the limits, or not further out where already outside."""
    before_ph, ph = beside.ph(), after.ph
    if not _within(ph, before_ph, PH_LOW, PH_HIGH):
        return False
    scale, scale_before = beside.calcite(after), beside.calcite()
    if not _within(scale, scale_before, -np.inf, SCALE_HIGH):
        return False
    if not _within(_to_come(beside, after), _to_come(beside, beside.state), -np.inf, sanitizer_high):
        return False
    most = max(sanitizer_high, SHOCK_HEADROOM * defaults()["shock_mg"].value)
    return _within(_oxidant(beside, after), _oxidant(beside, beside.state), -np.inf, most)


def _oxidant(beside: Beside, state: TubState) -> np.ndarray:
    """The sanitizer with all monopersulfate, whether or not there is bromide for it to react with, mg/L."""
    observer = beside.observer(state)
    piled = observer.monopersulfate * (1.0 - _reacting(state))
    value: np.ndarray = _to_come(beside, state) + piled
    return value


def _to_come(beside: Beside, state: TubState) -> np.ndarray:
    """The sanitizer once all monopersulfate has reacted with the bromide there is, and what takes halogen at once has
    had it, mg/L."""
    observer = beside.observer(state)
    made: np.ndarray = observer.read(beside.sanitizer) + observer.monopersulfate * _reacting(state)
    ripe = state.water.reductant * MG_PER_MOL[str(beside.sanitizer)] * 1000.0 * KG_PER_LITRE
    return np.asarray(np.maximum(made - ripe, 0.0))


def _reacting(state: TubState) -> np.ndarray:
    """Share of the monopersulfate that finds bromide."""
    water = state.water
    reacts = np.minimum(water.monopersulfate, water.bromide)
    return np.divide(reacts, water.monopersulfate, out=np.zeros_like(reacts), where=water.monopersulfate > 0.0)


def largest_allowed(
    beside: Beside, product: Product, composition: Composition, grams: float, litres: float, sanitizer_high: float
) -> float:
    """The largest measurable amount up to ``grams`` that its cap and the limits allow, g."""
    most = grams_floor(product, min(grams, cap_grams(product, litres)))
    spread = measure_spread(product)
    for share in (1.0, 0.75, 0.5, 0.25):
        tried = grams_floor(product, most * share)
        if tried <= 0.0:
            return 0.0
        if _may_go_in(beside, composition, tried, spread, sanitizer_high):
            return tried
    return 0.0


def _may_go_in(beside: Beside, composition: Composition, grams: float, spread: float, sanitizer_high: float) -> bool:
    """With errors of the measure as drawn and without any: a lucky draw lets nothing in. What an oxidizer meets makes
    acid of it, so that its pH is judged once more when it has mixed."""
    if composition.oxidant > 0.0 and np.quantile(beside.ph(), _TAIL) < _LEAST_PH:
        return False
    drawn, exact = beside.dosed(composition, grams, spread), beside.exactly(composition, grams)
    if not (allowed(beside, drawn, sanitizer_high) and allowed(beside, exact, sanitizer_high)):
        return False
    return composition.oxidant <= 0.0 or _stays(beside, exact)


def _stays(beside: Beside, after: TubState) -> bool:
    """Whether the pH is still inside once what was added has mixed, or no further out than it would be without."""
    minutes = defaults()["mix_minutes"].value
    return _within(beside.later(after, minutes).ph, beside.later(beside.state, minutes).ph, PH_LOW, PH_HIGH)


def _within(after: np.ndarray, before: np.ndarray, low: float, high: float) -> bool:
    """The 5 % tails stay inside, or where they were outside move no further out."""
    low_after, high_after = np.quantile(after, (_TAIL, 1.0 - _TAIL))
    low_before, high_before = np.quantile(before, (_TAIL, 1.0 - _TAIL))
    return bool(low_after >= min(low, low_before - 1e-3) and high_after <= max(high, high_before + 1e-3))
