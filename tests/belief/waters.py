"""Ordinary true waters, some of them odd, and what each kind of kit shows of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from belief.histories import NOW
from tubwater.belief import Observer
from tubwater.belief.readings import KIT_SHARE
from tubwater.chemistry import MG_PER_EQ_CACO3, MG_PER_MOL, Water, water_at_ph
from tubwater.dynamics import TubState
from tubwater.facts import methods
from tubwater.facts.quantity import OxidantScale, Quantity
from tubwater.measurement import ReadingContext, bin_of, log_likelihood
from tubwater.tub import Reading, Sanitizer

__all__ = ["KITS", "ODD", "OddWater", "a_reading", "shown", "truth_of"]

_UNITS = {Quantity.PH: "pH", Quantity.TEMPERATURE: "degC", Quantity.CONDUCTIVITY: "uS/cm"}
_PER_MG = 1e-3 / 0.993  # mol/kg per (mg/L)/(g/mol) at 38 degC


@dataclass(frozen=True)
class OddWater:
    """A water at 38 degC, mg/L (alkalinity and calcium as CaCO3, sanitizer as Br2 or Cl2, borate as B)."""

    alkalinity: float
    ph: float
    calcium: float
    sanitizer: Sanitizer = Sanitizer.BROMINE
    active: float = 3.5
    borate: float = 0.0
    cyanuric_acid: float = 0.0
    sulfate: float = 80.0
    chloride: float = 100.0


ODD: Mapping[str, OddWater] = {
    "usual": OddWater(95, 7.5, 150),
    "soft": OddWater(40, 7.2, 20),
    "very soft": OddWater(25, 7.0, 15, sulfate=40, chloride=40),
    "hard": OddWater(250, 7.8, 400),
    "very hard": OddWater(300, 8.0, 500),
    "borated": OddWater(90, 7.6, 150, borate=50),
    "acid into much alkalinity": OddWater(240, 6.9, 250),
    "aerated": OddWater(160, 8.4, 200),
    "acid": OddWater(60, 6.8, 120),
    "little alkalinity, no gas": OddWater(45, 8.0, 60),
    "salty": OddWater(110, 7.4, 300, sulfate=900, chloride=500),
    "soda ash": OddWater(150, 8.6, 80),
    "no bromine": OddWater(100, 7.6, 180, active=0.05),
    "chlorine": OddWater(100, 7.4, 200, Sanitizer.CHLORINE),
    "chlorine with cyanuric acid": OddWater(110, 7.5, 200, Sanitizer.CHLORINE, cyanuric_acid=80),
}

_BODY = ((Quantity.TOTAL_ALKALINITY, "drop-titration"), (Quantity.CALCIUM_HARDNESS, "drop-titration"))
_STABILIZER = ((Quantity.CYANURIC_ACID, "turbidity-tube"),)
_SANITIZER = Quantity.BROMINE  # of a kit below; chlorine water is read as free chlorine, by the same method
KITS: Mapping[str, Sequence[tuple[Quantity, str]]] = {
    "strip": tuple(
        (quantity, "strip")
        for quantity in (_SANITIZER, Quantity.PH, Quantity.TOTAL_ALKALINITY, Quantity.TOTAL_HARDNESS)
    ),
    "comparator": ((_SANITIZER, "visual-comparator"), (Quantity.PH, "visual-comparator"), *_BODY, *_STABILIZER),
    "photometer": ((_SANITIZER, "photometer"), (Quantity.PH, "photometer"), *_BODY),
    "drops and electrode": ((_SANITIZER, "fas-dpd-drops"), (Quantity.PH, "electrode"), *_BODY, *_STABILIZER),
}


def a_reading(quantity: Quantity, value: float, method: str) -> Reading:
    """One plain reading, now."""
    scale = {Quantity.BROMINE: OxidantScale.AS_BR2, Quantity.FREE_CHLORINE: OxidantScale.AS_CL2}.get(quantity)
    return Reading(quantity, value, value, _UNITS.get(quantity, "mg/L"), method, NOW, scale)


def truth_of(odd: OddWater) -> Observer:
    """What a perfect test would read of it."""
    bare = Water.of(
        np.array([38.0]),
        calcium=odd.calcium * _PER_MG / MG_PER_MOL["calcium hardness"],
        magnesium=0.25 * odd.calcium * _PER_MG / MG_PER_MOL["calcium hardness"],
        sulfate=odd.sulfate * _PER_MG / MG_PER_MOL["sulfate"],
        chloride=odd.chloride * _PER_MG / MG_PER_MOL["chloride"],
        borate=odd.borate * _PER_MG / MG_PER_MOL["borate"],
        cyanurate=odd.cyanuric_acid * _PER_MG / MG_PER_MOL["cyanuric acid"],
        **_active(odd),
    )
    water = water_at_ph(bare, np.array([odd.ph]), odd.alkalinity * _PER_MG / MG_PER_EQ_CACO3)
    zero = np.zeros(1)
    return Observer(TubState(water, zero, zero, zero, np.array([odd.ph])))


def _active(odd: OddWater) -> dict[str, float]:
    if odd.sanitizer is Sanitizer.CHLORINE:
        return {"chlorine": odd.active * _PER_MG / MG_PER_MOL["free chlorine"]}
    return {
        "bromine": odd.active * _PER_MG / MG_PER_MOL["bromine"],
        "bromide": 30.0 * _PER_MG / MG_PER_MOL["bromide"],
    }


def shown(odd: OddWater, kit: str, seed: int) -> tuple[Reading, ...]:
    """What a kit shows of a water by its own error, blunders left out."""
    truth, rng = truth_of(odd), np.random.default_rng([seed, list(KITS).index(kit), round(10 * odd.alkalinity)])
    return tuple(_drawn(q, method, float(truth.read(q)[0]), rng) for q, method in _asked(odd, kit))


def _asked(odd: OddWater, kit: str) -> list[tuple[Quantity, str]]:
    chlorine = odd.sanitizer is Sanitizer.CHLORINE
    rows = [(Quantity.FREE_CHLORINE if chlorine and q is _SANITIZER else q, method) for q, method in KITS[kit]]
    if chlorine and kit == "strip":
        rows.append((Quantity.CYANURIC_ACID, "strip"))
    return [(q, method) for q, method in rows if chlorine or q is not Quantity.CYANURIC_ACID]


def _drawn(quantity: Quantity, method: str, truth: float, rng: np.random.Generator) -> Reading:
    row = methods()[method].quantities[quantity]
    steps = row.steps or row.low + row.resolution * np.arange(round((row.high - row.low) / row.resolution) + 1)
    bias = np.array([KIT_SHARE * rng.standard_normal()])
    context = ReadingContext(kit_bias=bias, kit_share=KIT_SHARE)
    readings = [a_reading(quantity, float(step), method) for step in steps]
    chance = [float(np.exp(log_likelihood(r, np.array([truth]), context)[0])) - bin_of(r).blunder for r in readings]
    sound = np.maximum(chance, 0.0)
    return readings[int(rng.choice(len(readings), p=sound / sound.sum()))]
