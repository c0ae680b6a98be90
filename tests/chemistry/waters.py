"""The reference waters, rebuilt from what was asked of the reference code, and random waters."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from tubwater.chemistry import (
    MG_PER_EQ_CACO3,
    MG_PER_MOL,
    Composition,
    Constants,
    Water,
    at_pco2,
    dose,
    heat,
    kg_water_per_litre,
    water_at_ph,
)

DATA = Path(__file__).parent / "data"
CASES: dict[str, dict[str, Any]] = {
    case["id"]: case for case in json.loads((DATA / "reference_waters.json").read_text())["waters"]
}
COMPONENT = {
    "Ca": "calcium",
    "Mg": "magnesium",
    "Na": "sodium",
    "K": "potassium",
    "Cl": "chloride",
    "S(6)": "sulfate",
    "SO4": "sulfate",
    "C(4)": "carbonate",
    "B": "borate",
    "Br": "bromide",
    "Brx": "bromine",
    "Clx": "chlorine",
    "Cyu": "cyanurate",
    "Dmh": "hydantoin",
}
SCALE = {
    "Ca": MG_PER_MOL["calcium hardness"],
    "Mg": MG_PER_MOL["magnesium hardness"],
    "Na": MG_PER_MOL["sodium"],
    "K": MG_PER_MOL["potassium"],
    "Cl": MG_PER_MOL["chloride"],
    "SO4": MG_PER_MOL["sulfate"],
    "B": MG_PER_MOL["borate"],
    "Br": MG_PER_MOL["bromide"],
    "Brx": MG_PER_MOL["bromine"],
    "Clx": MG_PER_MOL["free chlorine"],
    "Cyu": MG_PER_MOL["cyanuric acid"],
    "Dmh": MG_PER_MOL["hydantoin"],
}
SUBSTANCES = {
    "NaHCO3": Composition.of(carbonate=1e3 / 84.006, sodium=1e3 / 84.006),
    "Na2CO3": Composition.of(carbonate=1e3 / 105.988, sodium=2e3 / 105.988),
    "NaHSO4": Composition.of(sodium=1e3 / 120.054, sulfate=1e3 / 120.054),
    "HCl": Composition.of(chloride=1e3 / 36.461),
    "CaCl2_2H2O": Composition.of(calcium=1e3 / 147.014, chloride=2e3 / 147.014),
    "borax10": Composition.of(sodium=2e3 / 381.367, borate=4e3 / 381.367),
    "NaOH": Composition.of(sodium=1e3 / 39.997),
    # 2KHSO5.KHSO4.K2SO4, spent: every sulfur is sulfate
    "KMPS_triple": Composition.of(potassium=5e3 / 614.737, sulfate=4e3 / 614.737),
}


def constants_of(case: dict[str, Any], reference: Constants) -> Constants:
    """The named choices of a reference database, with those of the case's extra species."""
    block = case["inputs"]["extra_block"]
    return replace(
        reference,
        cyanurate_at_25=block == "cya_obrien25",
        pk_hobr_25=8.80 if block == "bromine_pka880" else 8.65,
    )


def from_totals(case: dict[str, Any]) -> Water:
    """The water with the totals that the primary code found."""
    found = case["primary"]
    totals = {COMPONENT[name]: value for name, value in found["totals_mol_per_kgw"].items()}
    return Water.of(found["temp_c"], **totals)


def from_inputs(case: dict[str, Any], constants: Constants) -> Water:
    """The water as it was asked for: mg/L, pH and alkalinity, then each step."""
    asked = case["inputs"]
    milligrams = dict(asked["mg_per_L"])
    alkalinity = milligrams.pop("Alkalinity") / MG_PER_EQ_CACO3 / 1000.0
    water, per_litre = Water.of(asked["temp_c"]), 1.0
    for _ in range(4):  # the density follows from what is dissolved
        totals = {COMPONENT[k]: v / SCALE[k] / 1000.0 / per_litre for k, v in milligrams.items()}
        free = "sodium" if asked["balance"] == "Na" else "chloride"
        bare = Water.of(asked["temp_c"], **{**totals, free: 0.0})
        if free == "chloride":
            bare = bare.replaced(chloride=bare.alkalinity - alkalinity / per_litre)
        water = water_at_ph(bare, asked["pH"], alkalinity / per_litre, constants)
        per_litre = float(kg_water_per_litre(water))
    for step in asked["steps"]:
        water = _stepped(water, step, constants)
    return water


def _stepped(water: Water, step: dict[str, Any], constants: Constants) -> Water:
    if step["kind"] == "temp":
        return heat(water, step["to_c"])
    if step["kind"] == "co2":
        return at_pco2(water, 10.0 ** step["log10_pco2_atm"], constants)
    if step["kind"] == "dosemol":
        return water.plus(carbonate=step["mol_per_kgw"])
    return dose(water, SUBSTANCES[step["substance"]], step["mg_per_L"] * 1e-3, 1.0)


def random_waters(seed: int, count: int, constants: Constants) -> Water:
    """Waters over 5-42 degC, alkalinity 20-300, hardness 0-1000, sulfate and chloride to 2000, boron to 60 mg/L."""
    r = np.random.default_rng(seed)

    def up_to(most: float) -> np.ndarray[Any, np.dtype[np.float64]]:
        return most * r.uniform(0.0, 1.0, count) ** 2 * 1e-3

    bare = Water.of(
        r.uniform(5.0, 42.0, count),
        calcium=up_to(1000.0) / 100.087,
        magnesium=up_to(300.0) / 100.087,
        potassium=up_to(60.0) / 39.0983,
        sulfate=up_to(2000.0) / 96.0626,
        chloride=up_to(2000.0) / 35.453,
        borate=up_to(60.0) / 10.811,
        bromide=up_to(200.0) / 79.904,
        bromine=up_to(20.0) / 159.808,
    )
    alkalinity = r.uniform(20.0, 300.0, count) / MG_PER_EQ_CACO3 * 1e-3
    water = water_at_ph(bare, r.uniform(6.6, 8.6, count), alkalinity, constants)
    return water[water.carbonate > 1e-5]
