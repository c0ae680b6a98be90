"""The inner solver: one unknown, pH, in a fixed point for activities and ion pairs, on a block of waters.

Method: the alkalinity equation is solved by Newton steps in pH while ionic strength, free metals and free
sulfate are renewed after each step (the usual nested scheme of speciation codes; Stumm & Morgan, Aquatic
Chemistry, from memory).  Two of alkalinity, total carbonate, CO2 pressure and pH are given, the others follow.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from tubwater.chemistry.activity import basis
from tubwater.chemistry.constants import Constants
from tubwater.chemistry.cyanurate import ladder_of
from tubwater.chemistry.reactions import Conditional, conditional
from tubwater.chemistry.water import INDEX, STRONG_CHARGE

__all__ = ["LN10", "Given", "State", "solve"]

Array = NDArray[np.float64]
LN10 = float(np.log(10.0))
_TOLERANCE = 5e-9  # of the last change; a round gains a factor of six or more, so the error stays near 1e-9
_FEW = 0.3  # share of a block still moving at which it goes on alone
_MOST = 150
_INNER = 3  # pH steps in the first round, before the pairs follow
_CHARGE2 = np.square(STRONG_CHARGE)
_METALS = [INDEX[name] for name in ("calcium", "magnesium", "sodium", "potassium")]
_CA, _MG, _NA, _K = range(4)
_H, _OH, _BI, _DI, _BISULFATE, _MG_OH = range(6)  # rows of the constants, in the order of ``reactions``
_BI_PAIRS, _DI_PAIRS, _SULFATES, _ACIDS = slice(6, 9), slice(9, 12), slice(12, 16), 16
_CA_BI, _MG_BI, _NA_DI, _NA_S, _K_S = 6, 7, 11, 14, 15
_PLAIN = [INDEX[name] for name in ("chloride", "bromide", "other_anions", "monopersulfate")]


class Given(Enum):
    """Which two are given; the water's strong ions are the alkalinity where that is one of them."""

    ALKALINITY_CARBONATE = "alkalinity and total carbonate"
    ALKALINITY_GAS = "alkalinity and CO2 pressure"
    ALKALINITY_PH = "alkalinity and pH"
    CARBONATE_PH = "total carbonate and pH"
    CARBONATE_GAS = "total carbonate and CO2 pressure"
    GAS_PH = "CO2 pressure and pH"

    @property
    def holds_ph(self) -> bool:
        """Whether the pH is given."""
        return self in (Given.ALKALINITY_PH, Given.CARBONATE_PH, Given.GAS_PH)

    @property
    def holds_gas(self) -> bool:
        """Whether the CO2 pressure is given."""
        return self in (Given.ALKALINITY_GAS, Given.CARBONATE_GAS, Given.GAS_PH)


def _empty() -> Array:
    return np.zeros(0)


@dataclass(eq=False)
class State:
    """The running solution of a block; arrays of shape (N,), mol/kg unless said."""

    given: Given
    constants: Conditional
    totals: Array  # (components, N)
    acids: Array  # totals of the weak acids present, (acids, N)
    metal_totals: Array  # (4, N)
    wanted: Array  # alkalinity of the strong ions, eq/kg
    plain: Array  # ions of one charge in no reaction
    pco2: Array | None  # atm
    ph: Array
    ionic_strength: Array
    metals: Array  # free Ca, Mg, Na, K, (4, N)
    sulfate: Array  # free
    k: Array  # conditional constants, (rows, N)
    inverse_h: Array = field(default_factory=_empty)
    co2: Array = field(default_factory=_empty)
    carbonate: Array = field(default_factory=_empty)
    r1: Array = field(default_factory=_empty)  # bicarbonate with its pairs per CO2
    r2: Array = field(default_factory=_empty)  # carbonate with its pairs per CO2
    alkalinity: Array = field(default_factory=_empty)  # of the species, eq/kg
    slope: Array = field(default_factory=_empty)  # buffer intensity, eq/kg per pH
    once: Array = field(default_factory=_empty)  # weak ions of one charge
    twice: Array | None = None  # weak ions of two charges
    borated: Array | None = None  # CaB(OH)4+ per free calcium
    ladder: dict[str, Array] = field(default_factory=dict)
    hocl: Array | None = None
    change: Array = field(default_factory=_empty)
    steps: int = 0

    def total(self, name: str) -> Array:
        """The total of a component, mol/kg."""
        row: Array = self.totals[INDEX[name]]
        return row

    def row(self, name: str) -> Array | None:
        """A conditional constant by name, None where nothing of it is present."""
        names = self.constants.names
        value: Array | None = self.k[names.index(name)] if name in names else None
        return value


def solve(
    celsius: Array,
    totals: Array,
    constants: Constants,
    given: Given = Given.ALKALINITY_CARBONATE,
    ph: Array | None = None,
    pco2: Array | None = None,
) -> State:
    """The equilibrium of a block: ``celsius`` (N,), ``totals`` (components, N), ``ph`` a start or what is given."""
    now = _begun(conditional(celsius, totals, constants), totals, given, ph, pco2)
    while _iterate(now) > _TOLERANCE and now.steps < _MOST:
        moving = np.flatnonzero(now.change > _TOLERANCE)
        if moving.size < _FEW * now.ph.size:
            rest = _taken(now, moving)
            while _iterate(rest) > _TOLERANCE and rest.steps < _MOST:
                pass
            _put_back(now, moving, rest)
            break
    return now


def _taken(now: State, rows: NDArray[np.intp]) -> State:
    """The state of some waters of a block."""
    old = now.constants
    constants = replace(old, a=_cut(old.a, rows), b=_cut(old.b, rows), ln_k=_cut(old.ln_k, rows))
    part = replace(now, constants=constants, ladder={name: value[rows] for name, value in now.ladder.items()})
    for name, value in vars(now).items():
        if isinstance(value, np.ndarray):
            setattr(part, name, _cut(value, rows))
    return part


def _cut(value: Array, rows: NDArray[np.intp]) -> Array:
    """Columns of an array; one that stands for every water stays."""
    return value if value.shape[-1] == 1 else value[..., rows]


_INPUTS = frozenset(("totals", "acids", "metal_totals", "wanted", "plain", "pco2"))


def _put_back(now: State, rows: NDArray[np.intp], part: State) -> None:
    for name, value in vars(part).items():
        if isinstance(value, np.ndarray) and name not in _INPUTS:
            getattr(now, name)[..., rows] = value
    for name, value in part.ladder.items():
        now.ladder[name][rows] = value
    now.steps = part.steps


def _begun(rows: Conditional, totals: Array, given: Given, ph: Array | None, pco2: Array | None) -> State:
    alkalinity = STRONG_CHARGE @ totals
    strength = 0.5 * (_CHARGE2 @ totals + np.abs(alkalinity))
    sulfate, metals = totals[INDEX["sulfate"]], totals[_METALS]
    pairing = 1.0 + 60.0 * sulfate  # a first guess of what sulfate holds
    free_sulfate = sulfate / (1.0 + 60.0 * (metals[_CA] + metals[_MG]))
    free = metals.copy()
    free[:2] /= pairing
    strength = strength - 4.0 * (sulfate - free_sulfate)
    return State(
        given=given,
        constants=rows,
        totals=totals,
        acids=totals[[INDEX[name] for name in rows.acids]],
        wanted=alkalinity,
        plain=totals[_PLAIN].sum(axis=0),
        pco2=pco2,
        ph=_first_ph(alkalinity, totals[INDEX["carbonate"]]) if ph is None else ph.astype(float),
        ionic_strength=np.maximum(strength, 1e-9),
        metal_totals=metals,
        metals=free,
        sulfate=free_sulfate,
        k=np.empty((len(rows.names), alkalinity.size)),
    )


def _first_ph(alkalinity: Array, carbonate: Array) -> Array:
    """pH of a plain bicarbonate water, kept within 5-8.2."""
    share = np.clip(alkalinity / np.maximum(carbonate, 1e-12), 0.05, 0.99)
    value: Array = 6.2 + np.log10(share / (1.0 - share))
    return value


def _iterate(now: State) -> float:
    """One round; returns the largest change of pH or relative change of ionic strength, sulfate and calcium."""
    now.steps += 1
    limit = 1.0 if now.steps < 12 else 6.0 / now.steps
    rows, k = now.constants, now.k
    np.matmul(rows.weights, basis(now.ionic_strength, rows.a, rows.b), out=k)
    k += rows.ln_k
    np.exp(k, out=k)
    step = np.zeros_like(now.ph)
    for _ in range(_INNER if now.steps == 1 and not now.given.holds_ph else 1):
        _speciate(now)
        step = _ph_step(now, limit)
        now.ph = now.ph + step
    if not now.given.holds_ph:
        _follow(now, step)
    change = np.maximum(np.abs(step), _pair(now))
    strength = _strength(now)
    np.maximum(change, np.abs(strength / now.ionic_strength - 1.0), out=change)
    now.ionic_strength, now.change = strength, change
    return float(change.max(initial=0.0))


def _follow(now: State, step: Array) -> None:
    """Bring what the pairs need to the pH after the step."""
    factor = np.exp(LN10 * step)
    now.inverse_h = now.inverse_h * factor
    now.r1, now.r2 = now.r1 * factor, now.r2 * (factor * factor)
    whole = 1.0 + (now.r1 + now.r2)
    if not now.given.holds_gas:
        now.co2 = now.total("carbonate") / whole
    now.carbonate = now.co2 * whole
    if now.borated is not None:
        now.borated = now.borated * factor


def _ph_step(now: State, limit: float) -> Array:
    if now.given.holds_ph:
        return np.zeros_like(now.ph)
    if now.given is Given.CARBONATE_GAS:  # in logarithms: what is dissolved against what is there
        ratio = np.maximum(now.total("carbonate"), 1e-30) / np.maximum(now.carbonate, 1e-30)
        step = np.log(ratio) * now.carbonate / np.maximum(now.slope, 1e-30)
    else:
        step = (now.wanted - now.alkalinity) / now.slope
    result: Array = np.minimum(np.maximum(step, -limit), limit)
    return result


def _speciate(now: State) -> None:
    """Every acid-base species at the present pH, the alkalinity they make and its slope by pH."""
    k, inverse_h = now.k, np.exp(LN10 * now.ph)
    now.inverse_h = inverse_h
    base = (k[_OH] + k[_MG_OH] * now.metals[_MG]) * inverse_h
    acid = (k[_H] + k[_BISULFATE] * now.sulfate) / inverse_h
    now.once, now.twice = base + acid, None
    alkalinity, slope = base - acid, now.once
    for part, by_ph in _weak_acids(now):
        alkalinity, slope = alkalinity + part, slope + by_ph
    part, by_ph = _carbonates(now, now.wanted - alkalinity)
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
    count = len(now.constants.acids)
    ratio = now.k[_ACIDS : _ACIDS + count] * now.inverse_h
    pair = now.row("CaB(OH)4+")
    if pair is not None:
        bound = pair * now.inverse_h
        ratio[0] += bound * now.metals[_CA]
    below = 1.0 + ratio
    acid = now.acids / below
    if pair is not None:
        now.borated = bound * acid[0]
    ion = acid * ratio
    part = ion.sum(axis=0)
    now.once = now.once + part
    return part, (ion / below).sum(axis=0)


def _cyanurates(now: State) -> tuple[Array, Array]:
    k = dict(zip(now.constants.names, now.k, strict=True))
    ladder = ladder_of(k, now.total("cyanurate"), now.total("chlorine"), now.inverse_h, now.hocl)
    now.hocl, now.ladder = ladder.hocl, ladder.conc
    now.once = now.once + sum(ladder.conc[n] for n in ("H2Cy-", "HClCy-", "Cl2Cy-", "OCl-"))
    now.twice = ladder.conc["HCy--"] + ladder.conc["ClCy--"] + 2.25 * ladder.conc["Cy---"]
    return ladder.alkalinity, ladder.slope


def _carbonates(now: State, wanted: Array) -> tuple[Array, Array]:
    """Carbonate with its pairs; ``wanted`` is the alkalinity it has to bring where the pH is held."""
    k, inverse_h, metals = now.k, now.inverse_h, now.metals[:3]
    r1 = (k[_BI] + _dot(k[_BI_PAIRS], metals)) * inverse_h
    r2 = (k[_DI] + _dot(k[_DI_PAIRS], metals)) * (inverse_h * inverse_h)
    twice = r1 + 2.0 * r2
    whole = 1.0 + (r1 + r2)
    now.r1, now.r2 = r1, r2
    if now.given is Given.ALKALINITY_PH:
        now.co2 = wanted / twice
    elif now.given.holds_gas:
        assert now.pco2 is not None
        now.co2 = now.pco2 / k[-2]
    else:
        now.co2 = now.total("carbonate") / whole
    now.carbonate = now.co2 * whole
    alkalinity = now.co2 * twice
    if now.given is Given.CARBONATE_GAS:
        return alkalinity, alkalinity * LN10
    by_ph = alkalinity + 2.0 * now.co2 * r2
    return alkalinity, by_ph if now.given.holds_gas else by_ph - alkalinity * (twice / whole)


def _dot(a: Array, b: Array) -> Array:
    """Sum of products over the first axis: for a few rows faster than a product and a sum."""
    result: Array = np.einsum("ij,ij->j", a, b)
    return result


def _pair(now: State) -> Array:
    """Renew the free metals and sulfate at the present ligands; returns the largest relative change."""
    k, totals, pairs = now.k, now.metal_totals, now.k[_SULFATES]
    by_h = now.co2 * now.inverse_h
    held = np.ones_like(totals)
    held[:3] += k[_BI_PAIRS] * by_h
    held[:3] += k[_DI_PAIRS] * (by_h * now.inverse_h)
    held[_MG] += k[_MG_OH] * now.inverse_h
    if now.borated is not None:
        held[_CA] += now.borated
    sulfate = _free_sulfate(now, held, totals)
    change = np.abs(sulfate - now.sulfate) / np.maximum(sulfate, 1e-9)
    metals = totals / (held + pairs * sulfate)
    np.maximum(change, np.abs(metals[_CA] - now.metals[_CA]) / np.maximum(metals[_CA], 1e-9), out=change)
    now.metals, now.sulfate = metals, sulfate
    return change


def _free_sulfate(now: State, held: Array, totals: Array) -> Array:
    """One Newton step of the sulfate balance, the metals following by their own balances."""
    old, pairs = now.sulfate, now.k[_SULFATES]
    free = 1.0 + now.k[_BISULFATE] / now.inverse_h
    inverse = 1.0 / (held + pairs * old)
    share = pairs * (totals * inverse)
    bound = free + share.sum(axis=0)
    held_share = np.multiply(held, inverse, out=inverse)
    slope = free + _dot(share, held_share)
    fresh = old - (old * bound - now.total("sulfate")) / slope
    result: Array = np.maximum(fresh, 0.1 * old)
    return result


def _strength(now: State) -> Array:
    """Ionic strength of the present species, mol/kg."""
    k, free = now.k, now.metals
    by_h = now.co2 * now.inverse_h
    single = k[_BI] + k[_CA_BI] * free[_CA] + k[_MG_BI] * free[_MG]
    by_h2 = by_h * now.inverse_h
    twice = free[_CA] + free[_MG] + now.sulfate + k[_DI] * by_h2
    if now.twice is not None:
        twice = twice + now.twice
    sodium = free[_NA] * (1.0 + k[_NA_S] * now.sulfate + k[_NA_DI] * by_h2)
    once = now.plain + now.once + single * by_h + sodium + free[_K] * (1.0 + k[_K_S] * now.sulfate)
    strength: Array = np.maximum(2.0 * twice + 0.5 * once, 1e-9)
    return strength
