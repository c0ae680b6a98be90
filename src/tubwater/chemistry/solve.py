"""The inner solver: one unknown, pH, in a fixed point for activities and ion pairs, on a block of waters.

Method: the alkalinity equation is solved by Newton steps in pH while ionic strength, free metals and free
sulfate are renewed after each step (the usual nested scheme of speciation codes; Stumm & Morgan, Aquatic
Chemistry, from memory).  Many waters begin in single precision, half the memory to move, and are settled in
double precision.  Two of alkalinity, total carbonate, CO2 pressure and pH are given, the others follow.

With few waters the time goes into calling, not into computing: hence sums written out, and rows side by side.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tubwater.chemistry.activity import basis
from tubwater.chemistry.constants import Constants
from tubwater.chemistry.cyanurate import FORMS, ladder_of
from tubwater.chemistry.reactions import conditional
from tubwater.chemistry.state import Given, State, put_back, taken
from tubwater.chemistry.water import INDEX, STRONG_CHARGE

__all__ = ["LN10", "TOLERANCE", "solve"]

Array = NDArray[np.float64]
LN10 = float(np.log(10.0))
TOLERANCE = 5e-10  # of the error: the last change times the rate of shrinking; leaves 1e-9 in pH and saturation
_RATE = 0.15  # a round leaves this share of an error, or more (up to a tenth is usual); never trusted to leave less
_FEW = 0.3  # share of a block still moving at which it goes on alone
_MOST = 150
_INNER = 3  # pH steps in the first round, before the pairs follow
_STRONGEST = 6.0  # mol/kg, a saturated brine: beyond it the coefficients mean nothing and the powers must stay finite
_PH_BOUNDS = (-4.0, 18.0)  # no water gets there; the powers stay finite
_MANY = 300  # waters from which a start in single precision pays, and to go on with those that still move
_ROUGH = 4  # rounds of that start
_SINGLE: Any = np.float32
_TOTALS = ("carbonate", "sulfate", "ammonia", "cyanurate", "chlorine")  # the totals that a round asks for by name
_STARTS = ("acids", "metal_totals", "wanted", "plain", "pco2", "ph", "inverse_h", "ionic_strength", "free")
_RUNNING = ("ph", "inverse_h", "ionic_strength", "free")  # what a round hands to the next
_CHARGES = np.stack([STRONG_CHARGE, np.square(STRONG_CHARGE)])
_METALS = [INDEX[name] for name in ("potassium", "calcium", "sodium", "magnesium")]
_CA, _NA, _MG, _SO4 = 1, 2, 3, 4  # rows of what is free, after potassium
_OH, _H, _MG_OH, _BISULFATE, _BI, _NA_BI, _DI = 0, 1, 2, 3, 4, 6, 8  # rows of the constants, as in ``reactions``
_BI_PAIRS, _DI_PAIRS, _SULFATES, _ACIDS = slice(5, 8), slice(9, 12), slice(12, 16), 16
_PAIRED = slice(1, 4)  # the metals that pair with carbonate
_PLAIN = [INDEX[name] for name in ("chloride", "bromide", "other_anions", "monopersulfate")]


def solve(
    celsius: Array,
    totals: Array,
    constants: Constants,
    given: Given = Given.ALKALINITY_CARBONATE,
    ph: Array | None = None,
    pco2: Array | None = None,
    tolerance: float = TOLERANCE,
) -> State:
    """The equilibrium of a block: ``celsius`` (N,), ``totals`` (components, N), ``ph`` a start or what is given."""
    now = _begun(celsius, totals, constants, given, ph, pco2)
    many = now.ph.size >= _MANY
    if many:
        _approach(now)
    while _iterate(now) > tolerance and now.steps < _MOST:
        if many and _finished_apart(now, tolerance):
            break
    _constants(now, slice(-2, None))  # gas and calcite
    return now


def _finished_apart(now: State, tolerance: float) -> bool:
    """Go on alone with those that still move, once they are few; whether that was so."""
    moving = np.flatnonzero(now.change > tolerance)
    if moving.size >= _FEW * now.ph.size:
        return False
    rest = taken(now, moving)
    while _iterate(rest) > tolerance and rest.steps < _MOST:
        pass
    put_back(now, moving, rest)
    return True


def _approach(now: State) -> None:
    """The first rounds in single precision: half the memory to move, and good to about a millionth."""
    with np.errstate(all="ignore"):  # what overflows here is dropped below
        rough = _single(now)
        for _ in range(_ROUGH):
            _round(rough)
        found = rough.inverse_h + rough.ionic_strength + rough.free.sum(axis=0)
    good = np.isfinite(found)
    for name in _RUNNING:
        fresh = getattr(rough, name).astype(float)
        setattr(now, name, fresh if good.all() else np.where(good, fresh, getattr(now, name)))
    now.inverse_h = np.exp(LN10 * now.ph)
    if rough.hocl is not None:
        now.hocl = np.where(good, rough.hocl, 0.0).astype(float)
    now.steps = _ROUGH


def _single(now: State) -> State:
    """The state in single precision."""
    old = now.constants
    rows = replace(old, **{n: getattr(old, n).astype(_SINGLE) for n in ("a", "reach", "bare", "weights")})
    totals, k = np.zeros(now.totals.shape, _SINGLE), np.empty(now.k.shape, _SINGLE)
    for name in _TOTALS:
        totals[INDEX[name]] = now.total(name)
    part = replace(now, constants=rows, totals=totals, k=k)
    for name in _STARTS:
        value = getattr(now, name)
        setattr(part, name, None if value is None else value.astype(_SINGLE))
    return part


def _begun(
    celsius: Array, totals: Array, choice: Constants, given: Given, ph: Array | None, pco2: Array | None
) -> State:
    rows = conditional(celsius, totals, choice)
    alkalinity, strength = _CHARGES @ totals
    sulfate, metals = totals[INDEX["sulfate"]], totals[_METALS]
    free = np.empty((5, alkalinity.size))
    free[:_SO4], free[_SO4] = metals, sulfate / (1.0 + 60.0 * (metals[_CA] + metals[_MG]))
    free[_CA : _MG + 1 : 2] /= 1.0 + 60.0 * sulfate  # a first guess of what sulfate holds
    strength = 0.5 * (strength + np.abs(alkalinity)) - 4.0 * (sulfate - free[_SO4])
    start = _first_ph(alkalinity, totals[INDEX["carbonate"]]) if ph is None else ph.astype(float)
    return State(
        given=given,
        constants=rows,
        totals=totals,
        acids=totals[[INDEX[name] for name in rows.acids]],
        wanted=alkalinity,
        plain=totals[_PLAIN].sum(axis=0) + (metals[_NA] + metals[0]),
        pco2=pco2,
        ph=start,
        inverse_h=np.exp(LN10 * start),
        ionic_strength=np.minimum(np.maximum(strength, 1e-9), _STRONGEST),
        metal_totals=metals,
        free=free,
        k=np.empty((len(rows.names), alkalinity.size)),
        celsius=celsius,
        choice=choice,
    )


def _first_ph(alkalinity: Array, carbonate: Array) -> Array:
    """pH of a plain bicarbonate water, kept within 5-8.2."""
    share = np.clip(alkalinity / np.maximum(carbonate, 1e-12), 0.05, 0.99)
    value: Array = 6.2 + np.log10(share / (1.0 - share))
    return value


def _iterate(now: State) -> float:
    """One round in full precision; returns the largest error left, of pH or relative of strength and pairs."""
    ph, strength, free = now.ph, now.ionic_strength, now.free
    _round(now)
    change = np.abs(now.ph - ph)
    for new, old in ((now.ionic_strength, strength), (now.free[_SO4], free[_SO4]), (now.free[_CA], free[_CA])):
        gap = np.abs(new - old)
        gap /= np.maximum(new, 1e-9)
        np.maximum(change, gap, out=change)
    rate = 1.0 if now.last is None else np.minimum(np.maximum(change / np.maximum(now.last, 1e-300), _RATE), 1.0)
    now.last, now.change = change, change * rate
    return float(now.change.max())


def _round(now: State) -> None:
    """Constants at the present ionic strength, a step of pH, the pairs, and the strength that they leave."""
    now.strength_of_k = now.ionic_strength
    _constants(now, slice(None) if now.given.holds_gas else slice(-2))
    if now.given.holds_ph:
        _speciate(now)
    else:
        _move_ph(now)
    now.ionic_strength = _strength(now, _pair(now))
    now.steps += 1


def _constants(now: State, which: slice) -> None:
    """Renew some rows of the conditional constants."""
    rows, k = now.constants, now.k[which]
    np.matmul(rows.weights[which], basis(now.strength_of_k, rows.a, rows.reach), out=k)
    np.exp(k, out=k)
    k *= rows.bare[which]


def _move_ph(now: State) -> None:
    """A Newton step of pH, some in the first round."""
    limit = 1.0 if now.steps < 11 else 6.0 / (now.steps + 1)
    low, high = _PH_BOUNDS
    for _ in range(_INNER if now.steps == 0 else 1):
        _speciate(now)
        step = np.minimum(np.maximum(_ph_step(now), -limit), limit)
        before = now.ph
        now.ph = np.minimum(np.maximum(before + step, low), high)
        factor = np.exp(LN10 * (now.ph - before))
        now.inverse_h = now.inverse_h * factor
    _follow(now, factor)


def _follow(now: State, factor: Array) -> None:
    """Bring what the pairs need to the pH after the step, in which 1/h grew by ``factor``."""
    now.r *= factor
    now.r[1] *= factor
    whole = 1.0 + (now.r[0] + now.r[1])
    if now.given.holds_gas:
        now.carbonate = now.co2 * whole
    else:
        now.co2 = now.carbonate / whole
    if now.borated is not None:
        now.borated *= factor
    if now.hocl is not None and now.hocl_by_ph is not None:
        now.hocl = now.hocl * factor**now.hocl_by_ph


def _ph_step(now: State) -> Array:
    """The pH step that would meet what is given, were the rest linear and fixed."""
    step: Array
    if now.given is Given.CARBONATE_GAS:  # in logarithms: what is dissolved against what is there
        ratio = np.maximum(now.total("carbonate"), 1e-30) / np.maximum(now.carbonate, 1e-30)
        step = np.log(ratio) * now.carbonate / np.maximum(now.slope, 1e-30)
    else:
        step = (now.wanted - now.alkalinity) / now.slope
    return step


def _speciate(now: State) -> None:
    """Every acid-base species at the present pH, the alkalinity they make and its slope by pH."""
    k, inverse_h = now.k, now.inverse_h
    base = (k[_OH] + k[_MG_OH] * now.free[_MG]) * inverse_h
    acid = (k[_H] + k[_BISULFATE] * now.free[_SO4]) / inverse_h
    now.once, now.twice = base + acid, None
    alkalinity, slope = base - acid, now.once
    for part, by_ph in _weak_acids(now):
        alkalinity, slope = alkalinity + part, slope + by_ph
    part, by_ph = _carbonates(now, alkalinity)
    now.alkalinity = alkalinity + part
    now.slope = by_ph if now.given is Given.CARBONATE_GAS else (slope + by_ph) * LN10


def _weak_acids(now: State) -> list[tuple[Array, Array]]:
    """Alkalinity and its slope / ln 10 of the weak acids beside carbonate; notes their charged forms."""
    parts = []
    if now.constants.cyanurate:
        parts.append(_cyanurates(now))
    if now.constants.acids:
        parts.append(_acids(now))
    ammonium = now.row("NH3")
    if ammonium is not None:
        ratio = ammonium * now.inverse_h
        ammonia = now.total("ammonia") * ratio / (1.0 + ratio)
        now.once = now.once + (now.total("ammonia") - ammonia)
        parts.append((ammonia, ammonia / (1.0 + ratio)))
    return parts


def _acids(now: State) -> tuple[Array, Array]:
    """The neutral acids and their ions together, with the calcium pair of borate."""
    ratio = now.k[_ACIDS : _ACIDS + len(now.constants.acids)] * now.inverse_h
    pair = now.row("CaB(OH)4+")
    if pair is not None:
        bound = pair * now.inverse_h
        ratio[0] += bound * now.free[_CA]
    below = 1.0 + ratio
    acid = now.acids / below
    if pair is not None:
        now.borated = bound * acid[0]
    ion = np.multiply(acid, ratio, out=acid)
    part = _sum(ion)
    now.once = now.once + part
    ion /= below
    return part, _sum(ion)


def _sum(rows: Array) -> Array:
    """Sum of a few rows: faster one by one than as a reduction."""
    total: Array = rows[0].copy()
    for row in rows[1:]:
        total += row
    return total


def _cyanurates(now: State) -> tuple[Array, Array]:
    at = now.constants.at[next(iter(FORMS))]
    forms, hypochlorite = now.k[at : at + len(FORMS)], now.k[now.constants.at["OCl-"]]
    ladder = ladder_of(forms, hypochlorite, now.total("cyanurate"), now.total("chlorine"), now.inverse_h, now.hocl)
    now.hocl, now.hocl_by_ph, now.twice = ladder.hocl, ladder.hocl_by_ph, ladder.twice
    now.once = now.once + ladder.once
    return ladder.alkalinity, ladder.slope


def _carbonates(now: State, others: Array) -> tuple[Array, Array]:
    """Carbonate with its pairs; ``others`` is the alkalinity beside it."""
    k, inverse_h, metals = now.k, now.inverse_h, now.free[_PAIRED]
    r = np.empty((2, inverse_h.size), inverse_h.dtype)
    for row, plain, pairs in ((r[0], k[_BI], k[_BI_PAIRS]), (r[1], k[_DI], k[_DI_PAIRS])):
        np.add(plain, _dot(pairs, metals), out=row)
    r *= inverse_h
    r[1] *= inverse_h
    now.r, twice = r, r[1] + r[1]
    twice += r[0]
    whole = 1.0 + (r[0] + r[1])
    _carbon_dioxide(now, others, twice, whole)
    alkalinity = now.co2 * twice
    if now.given is Given.CARBONATE_GAS:
        return alkalinity, alkalinity * LN10
    by_ph = alkalinity + 2.0 * now.co2 * r[1]
    return alkalinity, by_ph if now.given.holds_gas else by_ph - alkalinity * (twice / whole)


def _carbon_dioxide(now: State, others: Array, twice: Array, whole: Array) -> None:
    """CO2 and total carbonate, whichever of them is given; where the pH is held, what alkalinity is still wanted."""
    if now.given is Given.ALKALINITY_PH or now.given.holds_gas:
        now.co2 = (now.wanted - others) / twice if now.pco2 is None else now.pco2 / now.k[-2]
        now.carbonate = now.co2 * whole
    else:
        now.carbonate = now.total("carbonate")
        now.co2 = now.carbonate / whole


def _dot(a: Array, b: Array) -> Array:
    """Sum of products over the first axis: for a few rows faster than a product and a sum."""
    result: Array = np.einsum("ij,ij->j", a, b)
    return result


def _pair(now: State) -> Array:
    """Renew the free metals and sulfate at the present ligands; returns CO2 / h."""
    k, totals, by_h = now.k, now.metal_totals, now.co2 * now.inverse_h
    held = np.empty_like(totals)
    held[0] = 1.0
    carbonated = np.multiply(k[_DI_PAIRS], now.inverse_h, out=held[_PAIRED])
    carbonated += k[_BI_PAIRS]
    carbonated *= by_h
    carbonated += 1.0
    held[_MG] += k[_MG_OH] * now.inverse_h
    if now.borated is not None:
        held[_CA] += now.borated
    free = np.empty_like(now.free)
    free[_SO4] = _free_sulfate(now, held, totals)
    metals = np.multiply(k[_SULFATES], free[_SO4], out=free[:_SO4])
    metals += held
    np.divide(totals, metals, out=metals)
    now.free = free
    return by_h


def _free_sulfate(now: State, held: Array, totals: Array) -> Array:
    """One Newton step of the sulfate balance, the metals following by their own balances."""
    old, pairs = now.free[_SO4], now.k[_SULFATES]
    share = pairs * old
    share += held
    np.divide(pairs, share, out=share)  # of each metal, by free sulfate
    bound = share * totals
    share *= bound
    twice = old * _sum(share)
    fresh = now.total("sulfate") - old * twice
    fresh /= 1.0 + now.k[_BISULFATE] / now.inverse_h + _sum(bound) - twice
    result: Array = np.maximum(fresh, 0.1 * old)
    return result


def _strength(now: State, by_h: Array) -> Array:
    """Ionic strength of the present species, mol/kg; sodium and potassium keep one charge, save in NaHCO3."""
    k, free = now.k, now.free
    twice = free[_CA] + free[_MG] + free[_SO4] + k[_DI] * by_h * now.inverse_h
    if now.twice is not None:
        twice += now.twice
    once = now.plain + now.once + now.r[0] * now.co2
    strength = 2.0 * twice + 0.5 * once - k[_NA_BI] * free[_NA] * by_h
    result: Array = np.minimum(np.maximum(strength, 1e-9), _STRONGEST)
    return result
