"""The inner solver: one unknown, pH, in a fixed point for activities and ion pairs, on a block of waters.

Method: the alkalinity equation is solved by Newton steps in pH while ionic strength, free metals and free
sulfate are renewed after each step (the usual nested scheme of speciation codes; Stumm & Morgan, Aquatic
Chemistry, from memory).  Two of alkalinity, total carbonate, CO2 pressure and pH are given, the others follow.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from tubwater.chemistry import constants as c
from tubwater.chemistry.activity import basis
from tubwater.chemistry.cyanurate import ladder_of
from tubwater.chemistry.reactions import Conditional, conditional
from tubwater.chemistry.water import INDEX, STRONG_CHARGE

__all__ = ["Given", "State", "concentrations", "solve"]

Array = NDArray[np.float64]
_LN10 = float(np.log(10.0))
_TOLERANCE = 1e-9
_MOST = 150
_CHARGE2 = np.square(STRONG_CHARGE)
_METALS = ("calcium", "magnesium", "sodium", "potassium")
_SULFATES = {"calcium": "CaSO4", "magnesium": "MgSO4", "sodium": "NaSO4-", "potassium": "KSO4-"}
_BICARBONATES = {"calcium": "CaHCO3+", "magnesium": "MgHCO3+", "sodium": "NaHCO3"}
_CARBONATES = {"calcium": "CaCO3", "magnesium": "MgCO3", "sodium": "NaCO3-"}
_ACIDS = {"borate": "B(OH)4-", "bromine": "OBr-", "chlorine": "OCl-", "hydantoin": "DMH-"}
_NEUTRAL = {"B(OH)4-": "B(OH)3", "OBr-": "HOBr", "OCl-": "HOCl", "DMH-": "DMH"}


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
        return self in (Given.ALKALINITY_PH, Given.CARBONATE_PH, Given.GAS_PH)

    @property
    def holds_gas(self) -> bool:
        return self in (Given.ALKALINITY_GAS, Given.CARBONATE_GAS, Given.GAS_PH)


@dataclass(eq=False)
class State:
    """The running solution of a block; arrays of shape (N,), mol/kg unless said."""

    given: Given
    totals: Array
    wanted: Array  # alkalinity of the strong ions, eq/kg
    pco2: Array | None  # atm
    constants: Conditional
    ph: Array
    ionic_strength: Array
    free: dict[str, Array]
    sulfate: Array
    k: dict[str, Array]
    values: Array  # the rows of k
    inverse_h: Array = field(default_factory=lambda: np.zeros(0))
    co2: Array = field(default_factory=lambda: np.zeros(0))
    carbonate: Array = field(default_factory=lambda: np.zeros(0))
    alkalinity: Array = field(default_factory=lambda: np.zeros(0))  # of the species, eq/kg
    slope: Array = field(default_factory=lambda: np.zeros(0))  # buffer intensity, eq/kg per pH
    once: Array = field(default_factory=lambda: np.zeros(0))  # weak ions of one charge
    twice: Array = field(default_factory=lambda: np.zeros(0))  # weak ions of two charges
    borated: Array | None = None  # CaB(OH)4+ per free calcium
    ladder: dict[str, Array] = field(default_factory=dict)
    hocl: Array | None = None
    change: Array = field(default_factory=lambda: np.zeros(0))
    steps: int = 0

    def total(self, name: str) -> Array:
        row: Array = self.totals[INDEX[name]]
        return row


def solve(
    celsius: Array,
    totals: Array,
    constants: c.Constants,
    given: Given = Given.ALKALINITY_CARBONATE,
    ph: Array | None = None,
    pco2: Array | None = None,
) -> State:
    """The equilibrium of a block: ``celsius`` (N,), ``totals`` (components, N), ``ph`` a start or what is given."""
    now = _begun(celsius, totals, constants, given, ph, pco2)
    for step in range(1, _MOST + 1):
        last = _iterate(now, 1.0 if step < 12 else 6.0 / step)
        now.steps = step
        if last < _TOLERANCE:
            break
    return now


def _begun(
    celsius: Array, totals: Array, constants: c.Constants, given: Given, ph: Array | None, pco2: Array | None
) -> State:
    rows = conditional(celsius, totals, constants)
    alkalinity = STRONG_CHARGE @ totals
    values = np.empty((len(rows.names), celsius.size))
    sulfate = totals[INDEX["sulfate"]]
    metals = totals[INDEX["calcium"]] + totals[INDEX["magnesium"]]
    bound = 1.0 + 50.0 * sulfate  # a first guess of what the pairs hold
    strength = 0.5 * (_CHARGE2 @ totals + np.abs(alkalinity))
    return State(
        given=given,
        totals=totals,
        wanted=alkalinity,
        pco2=pco2,
        constants=rows,
        ph=_first_ph(alkalinity, totals[INDEX["carbonate"]]) if ph is None else ph.astype(float),
        ionic_strength=np.maximum(strength, 1e-9),
        free={name: totals[INDEX[name]] / (bound if name in ("calcium", "magnesium") else 1.0) for name in _METALS},
        sulfate=sulfate / (1.0 + 50.0 * metals),
        k={name: values[i] for i, name in enumerate(rows.names)},
        values=values,
    )


def _first_ph(alkalinity: Array, carbonate: Array) -> Array:
    """pH of a plain bicarbonate water, kept within 5-9."""
    share = np.clip(alkalinity / np.maximum(carbonate, 1e-12), 0.05, 0.99)
    value: Array = 6.2 + np.log10(share / (1.0 - share))
    return value


def _iterate(now: State, limit: float) -> float:
    """One round; returns the largest change of pH or relative change of ionic strength, sulfate and calcium."""
    rows = now.constants
    np.matmul(rows.weights, basis(now.ionic_strength, rows.a, rows.b), out=now.values)
    np.add(now.values, rows.ln_k, out=now.values)
    np.exp(now.values, out=now.values)
    _speciate(now)
    step = _ph_step(now, limit)
    moved = _pair(now)
    strength = _strength(now)
    change = np.abs(step)
    np.maximum(change, np.abs(strength / now.ionic_strength - 1.0), out=change)
    np.maximum(change, moved, out=change)
    now.ionic_strength, now.change = strength, change
    if not now.given.holds_ph:
        now.ph = now.ph + step
    return float(change.max(initial=0.0))


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
    k, inverse_h = now.k, np.exp(_LN10 * now.ph)
    now.inverse_h = inverse_h
    oh, h = k["OH-"] * inverse_h, k["H+"] / inverse_h
    now.once = oh + h
    alkalinity, slope = oh - h, now.once
    if "HSO4-" in k:
        acid = k["HSO4-"] * now.sulfate / inverse_h
        alkalinity, slope, now.once = alkalinity - acid, slope + acid, now.once + acid
    now.twice = np.zeros(1)
    for part, by_ph in _weak_acids(now):
        alkalinity, slope = alkalinity + part, slope + by_ph
    part, by_ph = _carbonates(now, now.wanted - alkalinity)
    now.alkalinity = alkalinity + part
    now.slope = by_ph if now.given is Given.CARBONATE_GAS else (slope + by_ph) * _LN10


def _weak_acids(now: State) -> list[tuple[Array, Array]]:
    """Alkalinity and its slope / ln 10 of each weak acid present beside carbonate; notes their charged forms."""
    parts = []
    if "HCy--" in now.k:
        ladder = ladder_of(now.k, now.total("cyanurate"), now.total("chlorine"), now.inverse_h, now.hocl)
        now.hocl, now.ladder = ladder.hocl, ladder.conc
        once = sum((ladder.conc[n] for n in ("H2Cy-", "HClCy-", "Cl2Cy-", "OCl-")), np.zeros(1))
        now.once, now.twice = now.once + once, now.twice + ladder.conc["HCy--"] + ladder.conc["ClCy--"]
        now.twice = now.twice + 2.25 * ladder.conc["Cy---"]
        parts.append((ladder.alkalinity, ladder.slope))
    for name, ion in _ACIDS.items():
        if ion in now.k and not (ion == "OCl-" and now.ladder):
            parts.append(_acid(now, name, ion))
    if "NH3" in now.k:
        ratio = now.k["NH3"] * now.inverse_h
        ammonia = now.total("ammonia") * ratio / (1.0 + ratio)
        now.once = now.once + (now.total("ammonia") - ammonia)
        parts.append((ammonia, ammonia / (1.0 + ratio)))
    return parts


def _acid(now: State, name: str, ion: str) -> tuple[Array, Array]:
    """A neutral acid and its ion, with the calcium pair of borate."""
    k = now.k[ion]
    if name == "borate" and "CaB(OH)4+" in now.k:
        k = k + now.k["CaB(OH)4+"] * now.free["calcium"]
    ratio = k * now.inverse_h
    acid = now.total(name) / (1.0 + ratio)
    part = acid * ratio
    if name == "borate" and "CaB(OH)4+" in now.k:
        now.borated = now.k["CaB(OH)4+"] * acid * now.inverse_h
    now.once = now.once + part
    return part, part / (1.0 + ratio)


def _carbonates(now: State, wanted: Array) -> tuple[Array, Array]:
    """Carbonate with its pairs; ``wanted`` is the alkalinity it has to bring where the pH is held."""
    k, inverse_h = now.k, now.inverse_h
    first, second = k["HCO3-"], k["CO3--"]
    for metal, pair in _BICARBONATES.items():
        if pair in k:
            first = first + k[pair] * now.free[metal]
    for metal, pair in _CARBONATES.items():
        if pair in k:
            second = second + k[pair] * now.free[metal]
    r1, r2 = first * inverse_h, second * (inverse_h * inverse_h)
    twice = r1 + 2.0 * r2
    whole = 1.0 + (r1 + r2)
    if now.given is Given.ALKALINITY_PH:
        now.co2 = wanted / twice
    elif now.given.holds_gas:
        assert now.pco2 is not None
        now.co2 = now.pco2 / k["gas"]
    else:
        now.co2 = now.total("carbonate") / whole
    now.carbonate = now.co2 * whole
    alkalinity = now.co2 * twice
    if now.given is Given.CARBONATE_GAS:
        return alkalinity, alkalinity * _LN10
    by_ph = alkalinity + 2.0 * now.co2 * r2
    return alkalinity, by_ph if now.given.holds_gas else by_ph - alkalinity * (twice / whole)


def _pair(now: State) -> Array:
    """Renew the free metals and sulfate at the present ligands; returns the largest relative change."""
    k = now.k
    by_h = now.co2 * now.inverse_h
    by_h2 = by_h * now.inverse_h
    others = {metal: _held(now, metal, by_h, by_h2) for metal in _METALS}
    change = np.zeros_like(now.ph)
    if "HSO4-" in k:
        sulfate = _free_sulfate(now, others)
        change = np.abs(sulfate - now.sulfate) / np.maximum(sulfate, 1e-9)
        now.sulfate = sulfate
    for metal, held in others.items():
        below = held + k[_SULFATES[metal]] * now.sulfate if _SULFATES[metal] in k else held
        fresh = now.total(metal) / below
        if metal == "calcium":
            change = np.maximum(change, np.abs(fresh - now.free[metal]) / np.maximum(fresh, 1e-9))
        now.free[metal] = fresh
    return change


def _held(now: State, metal: str, by_h: Array, by_h2: Array) -> Array:
    """One and what carbonates and borate hold per mol of free metal."""
    k, held = now.k, np.ones(1)
    if _BICARBONATES.get(metal) in k:
        held = held + k[_BICARBONATES[metal]] * by_h
    if _CARBONATES.get(metal) in k:
        held = held + k[_CARBONATES[metal]] * by_h2
    if metal == "calcium" and now.borated is not None:
        held = held + now.borated
    return held


def _free_sulfate(now: State, others: dict[str, Array]) -> Array:
    """One Newton step of the sulfate balance, the metals following by their own balances."""
    old = now.sulfate
    bound = 1.0 + now.k["HSO4-"] / now.inverse_h
    slope = bound
    for metal, held in others.items():
        if _SULFATES[metal] in now.k:
            pair = now.k[_SULFATES[metal]]
            below = held + pair * old
            share = pair * now.total(metal) / below
            bound, slope = bound + share, slope + share * (held / below)
    fresh = old - (old * bound - now.total("sulfate")) / slope
    result: Array = np.maximum(fresh, 0.1 * old)
    return result


def _strength(now: State) -> Array:
    """Ionic strength of the present species, mol/kg."""
    k, free = now.k, now.free
    by_h = now.co2 * now.inverse_h
    by_h2 = by_h * now.inverse_h
    twice = free["calcium"] + free["magnesium"] + now.sulfate + k["CO3--"] * by_h2 + now.twice
    single = k["HCO3-"]
    for metal in ("calcium", "magnesium"):
        if _BICARBONATES[metal] in k:
            single = single + k[_BICARBONATES[metal]] * free[metal]
    once = free["sodium"] + free["potassium"] + now.once + single * by_h
    if "NaCO3-" in k:
        once = once + k["NaCO3-"] * free["sodium"] * by_h2
    for metal in ("sodium", "potassium"):
        if _SULFATES[metal] in k:
            once = once + k[_SULFATES[metal]] * free[metal] * now.sulfate
    for name in ("chloride", "bromide", "other_anions", "monopersulfate"):
        once = once + now.total(name)
    strength: Array = np.maximum(2.0 * twice + 0.5 * once, 1e-9)
    return strength


def concentrations(now: State) -> dict[str, Array]:
    """Every species of the solution by name, mol/kg, shape (N,)."""
    k, inverse_h, free = now.k, now.inverse_h, now.free
    by_h = now.co2 * inverse_h
    by_h2 = by_h * inverse_h
    found = {"CO2": now.co2, "HCO3-": k["HCO3-"] * by_h, "CO3--": k["CO3--"] * by_h2}
    found |= {"H+": k["H+"] / inverse_h, "OH-": k["OH-"] * inverse_h, "SO4--": now.sulfate}
    found |= {"Ca++": free["calcium"], "Mg++": free["magnesium"], "Na+": free["sodium"], "K+": free["potassium"]}
    found |= {pair: k[pair] * free[metal] * by_h for metal, pair in _BICARBONATES.items() if pair in k}
    found |= {pair: k[pair] * free[metal] * by_h2 for metal, pair in _CARBONATES.items() if pair in k}
    found |= {pair: k[pair] * free[metal] * now.sulfate for metal, pair in _SULFATES.items() if pair in k}
    if "HSO4-" in k:
        found["HSO4-"] = k["HSO4-"] * now.sulfate / inverse_h
    return found | _weak_concentrations(now) | now.ladder


def _weak_concentrations(now: State) -> dict[str, Array]:
    k, found = now.k, {}
    for name, ion in _ACIDS.items():
        if ion in k and not (ion == "OCl-" and now.ladder):
            pair = k["CaB(OH)4+"] * now.free["calcium"] if ion == "B(OH)4-" and "CaB(OH)4+" in k else np.zeros(1)
            acid = now.total(name) / (1.0 + (k[ion] + pair) * now.inverse_h)
            found |= {_NEUTRAL[ion]: acid, ion: acid * k[ion] * now.inverse_h}
            if ion == "B(OH)4-" and "CaB(OH)4+" in k:
                found["CaB(OH)4+"] = acid * pair * now.inverse_h
    if "NH3" in k:
        ratio = k["NH3"] * now.inverse_h
        found["NH4+"] = now.total("ammonia") / (1.0 + ratio)
        found["NH3"] = found["NH4+"] * ratio
    return found
