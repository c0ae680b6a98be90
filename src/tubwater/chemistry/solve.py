"""The inner solver: one unknown, pH, in a fixed point for activities and ion pairs, on a block of waters.

Method: the alkalinity equation is solved by Newton steps in pH while ionic strength and free ions are renewed
after each step (the usual nested scheme of speciation codes; Stumm & Morgan, Aquatic Chemistry, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tubwater.chemistry import constants as c
from tubwater.chemistry.activity import Gammas, gammas
from tubwater.chemistry.cyanurate import Ladder, ladder_of
from tubwater.chemistry.water import INDEX, STRONG_CHARGE

__all__ = ["Block", "Species", "block_of", "solve"]

Array = NDArray[np.float64]
_LN10 = float(np.log(10.0))
_TOLERANCE = 1e-10
_MOST = 120
_ACIDS = ("borate", "bromine", "chlorine", "hydantoin")


@dataclass(frozen=True, eq=False)
class Block:
    """Totals and temperature-only constants of some waters, arrays of shape (N,)."""

    totals: Array
    alkalinity: Array
    a: Array
    b: Array
    k1: Array
    k2: Array
    kw: Array
    henry: Array
    acids: dict[str, Array]
    ammonium: Array
    pairs: dict[str, Array]
    cyanurate: dict[str, Array]

    def total(self, name: str) -> Array:
        row: Array = self.totals[INDEX[name]]
        return row


@dataclass(eq=False)
class Species:
    """The running solution of a block; concentrations mol/kg, shape (N,)."""

    ph: Array
    ionic_strength: Array
    free: dict[str, Array]
    conc: dict[str, Array] = field(default_factory=dict)
    slope: Array = field(default_factory=lambda: np.zeros(0))  # buffer intensity, eq/kg per pH
    residual: Array = field(default_factory=lambda: np.zeros(0))
    gamma: Gammas | None = None
    steps: int = 0
    change: Array = field(default_factory=lambda: np.zeros(0))
    hocl: Array | None = None
    pco2: Array | None = None  # atm; held instead of the carbonate total
    hold_ph: bool = False  # pH held, the carbonate total follows from alkalinity


def block_of(celsius: Array, totals: Array, constants: c.Constants) -> Block:
    """Constants at each temperature beside the totals."""
    a, b = c.debye_hueckel(celsius)
    acids = {
        "borate": 10.0 ** -c.pk_boric(celsius),
        "bromine": 10.0 ** -c.pk_hobr(celsius, constants),
        "chlorine": 10.0 ** -c.pk_hocl(celsius),
        "hydantoin": 10.0 ** -c.pk_hydantoin(celsius, constants),
    }
    present = {name: k for name, k in acids.items() if totals[INDEX[name]].any()}
    has_cyanurate = totals[INDEX["cyanurate"]].any()
    return Block(
        totals=totals,
        alkalinity=STRONG_CHARGE @ totals,
        a=a,
        b=b,
        k1=10.0 ** c.log_k1_carbonate(celsius),
        k2=10.0 ** c.log_k2_carbonate(celsius),
        kw=10.0 ** c.log_k_water(celsius),
        henry=10.0 ** c.log_k_henry_co2(celsius),
        acids=present,
        ammonium=10.0 ** -c.pk_ammonium(celsius),
        pairs={name: 10.0**k for name, k in c.log_k_pairs(celsius, constants).items()},
        cyanurate={k: 10.0**-v for k, v in c.pk_cyanurate(celsius, constants).items()} if has_cyanurate else {},
    )


def solve(block: Block, ph: Array, pco2: Array | None = None, hold_ph: bool = False) -> Species:
    """The equilibrium of a block from a starting pH.

    By default the carbonate total is given. With ``pco2`` (atm) the gas is given, with ``hold_ph`` the pH;
    then the carbonate total is the sum of ``Species.conc`` over the carbonate species.
    """
    charge2 = np.square(STRONG_CHARGE)
    strength = 0.5 * (charge2 @ block.totals + np.abs(block.alkalinity))
    free = {name: block.total(name) * 0.95 for name in ("calcium", "magnesium", "sodium", "potassium", "sulfate")}
    now = Species(ph.astype(float).copy(), np.maximum(strength, 1e-9), free, pco2=pco2, hold_ph=hold_ph)
    for step in range(1, _MOST + 1):
        _iterate(block, now, limit=1.0 if step < 20 else 0.2)
        now.steps = step
        if now.change.max(initial=0.0) < _TOLERANCE:
            break
    return now


def _iterate(block: Block, now: Species, limit: float) -> None:
    g = gammas(now.ionic_strength, block.a, block.b)
    now.gamma = g
    _speciate(block, now, g)
    step = np.zeros_like(now.ph) if now.hold_ph else np.clip(-now.residual / now.slope, -limit, limit)
    now.ph = now.ph + step
    strength = _strength(block, now)
    scale = np.abs(strength - now.ionic_strength) / np.maximum(strength, 1e-6)
    now.ionic_strength = strength
    moved = _pair(block, now, g)
    now.change = np.maximum(np.maximum(np.abs(step), scale), moved)


def _speciate(block: Block, now: Species, g: Gammas) -> None:
    """Every acid-base species at the present pH, the alkalinity residual and its slope by pH."""
    h = np.exp(-_LN10 * now.ph)
    conc: dict[str, Array] = {"H+": h / g.hydrogen, "OH-": block.kw / (h * g.hydroxide)}
    alkalinity = conc["OH-"] - conc["H+"]
    slope = conc["OH-"] + conc["H+"]
    ladder = _cyanurates(block, now, g, h, conc)
    if ladder is not None:
        alkalinity, slope = alkalinity + ladder.alkalinity, slope + ladder.slope
    for name, k in block.acids.items():
        if name == "chlorine" and ladder is not None:
            continue
        ion, part = _acid(block, now, g, name, k / h, conc)
        alkalinity, slope = alkalinity + ion, slope + ion * (1.0 - part)
    ammonia = block.total("ammonia")
    if ammonia.any():
        ratio = block.ammonium * g.davies1 / (g.neutral * h)
        conc["NH3"] = ammonia * ratio / (1.0 + ratio)
        conc["NH4+"] = ammonia - conc["NH3"]
        alkalinity, slope = alkalinity + conc["NH3"], slope + conc["NH3"] / (1.0 + ratio)
    bisulfate = block.pairs["HSO4-"] * h * g.sulfate / g.davies1 * now.free["sulfate"]
    conc["HSO4-"] = bisulfate
    alkalinity = alkalinity - bisulfate
    alk_c, slope_c = _carbonates(block, now, g, h, block.alkalinity - alkalinity, conc)
    now.conc = conc
    now.residual = alkalinity + alk_c - block.alkalinity
    slope = slope + slope_c
    now.slope = _LN10 * (slope + bisulfate)


def _carbonates(
    block: Block, now: Species, g: Gammas, h: Array, wanted: Array, conc: dict[str, Array]
) -> tuple[Array, Array]:
    """Carbonate species with their pairs at the present free ions; alkalinity and its slope / ln 10.

    ``wanted`` is the alkalinity that carbonates have to bring, used where the pH is held.
    """
    ca, mg, na = now.free["calcium"], now.free["magnesium"], now.free["sodium"]
    k = block.pairs
    bi, di = g.bicarbonate / g.davies1, g.carbonate / g.neutral
    in_bi = {"CaHCO3+": k["CaHCO3+"] * g.calcium * bi * ca, "MgHCO3+": k["MgHCO3+"] * g.magnesium * bi * mg}
    in_di = {"CaCO3": k["CaCO3"] * g.calcium * di * ca, "MgCO3": k["MgCO3"] * g.magnesium * di * mg}
    if "NaHCO3" in k:
        in_bi["NaHCO3"] = k["NaHCO3"] * g.sodium * (g.bicarbonate / g.neutral) * na
    if "NaCO3-" in k:
        in_di["NaCO3-"] = k["NaCO3-"] * g.sodium * (g.carbonate / g.davies1) * na
    first = block.k1 * g.co2 / (g.bicarbonate * h)
    second = block.k1 * block.k2 * g.co2 / (g.carbonate * h * h)
    r1 = first * (1.0 + sum(in_bi.values()))
    r2 = second * (1.0 + sum(in_di.values()))
    whole = 1.0 + r1 + r2
    if now.hold_ph:
        co2 = wanted / (r1 + 2.0 * r2)
    elif now.pco2 is not None:
        co2 = block.henry * now.pco2 / g.co2
    else:
        co2 = block.total("carbonate") / whole
    conc["CO2"], conc["HCO3-"], conc["CO3--"] = co2, co2 * first, co2 * second
    for name, share in in_bi.items():
        conc[name] = conc["HCO3-"] * share
    for name, share in in_di.items():
        conc[name] = conc["CO3--"] * share
    alkalinity = co2 * (r1 + 2.0 * r2)
    open_slope = co2 * (r1 + 4.0 * r2)
    slope = open_slope if now.pco2 is not None else co2 * (r1 + r1 * r2 + 4.0 * r2) / whole
    return alkalinity, slope


def _acid(
    block: Block, now: Species, g: Gammas, name: str, k_over_h: Array, conc: dict[str, Array]
) -> tuple[Array, Array]:
    """A neutral acid and its ion (with the calcium borate pair); alkalinity and the ionised share."""
    ratio = k_over_h * g.neutral / g.davies1
    if name == "borate" and "CaB(OH)4+" in block.pairs:
        bound = block.pairs["CaB(OH)4+"] * g.calcium * now.free["calcium"]
        share = ratio * (1.0 + bound) / (1.0 + ratio * (1.0 + bound))
        conc["CaB(OH)4+"] = block.total(name) * share * bound / (1.0 + bound)
    else:
        share = ratio / (1.0 + ratio)
    ion = block.total(name) * share
    acid_name, ion_name = _NAMES[name]
    conc[ion_name] = ion - conc["CaB(OH)4+"] if name == "borate" and "CaB(OH)4+" in conc else ion
    conc[acid_name] = block.total(name) - ion
    return ion, share


_NAMES = {
    "borate": ("B(OH)3", "B(OH)4-"),
    "bromine": ("HOBr", "OBr-"),
    "chlorine": ("HOCl", "OCl-"),
    "hydantoin": ("DMH", "DMH-"),
}


def _cyanurates(block: Block, now: Species, g: Gammas, h: Array, conc: dict[str, Array]) -> Ladder | None:
    if not block.cyanurate:
        return None
    hypochlorite = block.acids.get("chlorine", np.zeros_like(h)) * g.neutral / (g.davies1 * h)
    ladder = ladder_of(
        block.cyanurate, block.total("cyanurate"), block.total("chlorine"), h, hypochlorite, g, now.hocl
    )
    now.hocl = ladder.hocl
    conc.update(ladder.conc)
    return ladder


def _strength(block: Block, now: Species) -> Array:
    """Ionic strength of the present species, mol/kg."""
    free, conc = now.free, now.conc
    twice = free["calcium"] + free["magnesium"] + free["sulfate"] + conc["CO3--"]
    for name in ("HCy--", "ClCy--"):
        if name in conc:
            twice = twice + conc[name]
    once = free["sodium"] + free["potassium"]
    for name in ("chloride", "bromide", "other_anions", "monopersulfate"):
        once = once + block.total(name)
    for name in _SINGLE:
        if name in conc:
            once = once + conc[name]
    strength: Array = np.maximum(2.0 * twice + 0.5 * once, 1e-9)
    return strength


_SINGLE = (
    *("HCO3-", "H+", "OH-", "CaHCO3+", "MgHCO3+", "B(OH)4-", "CaB(OH)4+", "OBr-", "OCl-", "DMH-", "NH4+", "HSO4-"),
    *("NaSO4-", "KSO4-", "NaCO3-", "H2Cy-", "HClCy-", "Cl2Cy-"),
)


def _pair(block: Block, now: Species, g: Gammas) -> Array:
    """Renew the free ions from the present ligands; returns the largest relative change."""
    k, conc, free = block.pairs, now.conc, now.free
    so4, two = free["sulfate"], g.sulfate
    ca_s = k["CaSO4"] * g.calcium * two / g.neutral
    mg_s = k["MgSO4"] * g.magnesium * two / g.neutral
    k_s = k["KSO4-"] * g.potassium * two / g.davies1
    na_s = k["NaSO4-"] * g.sodium * two / g.davies1 if "NaSO4-" in k else 0.0 * two
    fresh = {
        "calcium": _freed(block, free, conc, "calcium", ("CaCO3", "CaHCO3+", "CaB(OH)4+"), ca_s * so4),
        "magnesium": _freed(block, free, conc, "magnesium", ("MgCO3", "MgHCO3+"), mg_s * so4),
        "sodium": _freed(block, free, conc, "sodium", ("NaHCO3", "NaCO3-"), na_s * so4),
        "potassium": block.total("potassium") / (1.0 + k_s * so4),
    }
    bound = ca_s * fresh["calcium"] + mg_s * fresh["magnesium"] + na_s * fresh["sodium"] + k_s * fresh["potassium"]
    h = np.exp(-_LN10 * now.ph)
    fresh["sulfate"] = block.total("sulfate") / (1.0 + bound + k["HSO4-"] * h * two / g.davies1)
    so4 = fresh["sulfate"]
    conc["CaSO4"], conc["MgSO4"] = ca_s * fresh["calcium"] * so4, mg_s * fresh["magnesium"] * so4
    conc["NaSO4-"], conc["KSO4-"] = na_s * fresh["sodium"] * so4, k_s * fresh["potassium"] * so4
    moved = np.zeros_like(h)
    for name, value in fresh.items():
        if value.any():
            moved = np.maximum(moved, np.abs(value - free[name]) / np.maximum(value, 1e-12))
    now.free = fresh
    return moved


def _freed(
    block: Block, free: dict[str, Array], conc: dict[str, Array], name: str, pairs: tuple[str, ...], sulfate: Array
) -> Array:
    """Free ion from its total: what the pairs hold in proportion to the free ion is divided out."""
    held = sum((conc[pair] for pair in pairs if pair in conc), np.zeros_like(sulfate))
    ratio = held / np.maximum(free[name], 1e-300)
    value: Array = block.total(name) / (1.0 + ratio + sulfate)
    return value
