"""Doses against the figures of handbooks, which are stated from memory (see the head of the table)."""

from __future__ import annotations

import csv

import pytest

from chemistry.waters import DATA
from tubwater.chemistry import Composition, Water, dose, mg_per_litre

LITRES = 37_854.0
GRAMS = {"lb": 453.592, "oz": 28.3495}
ML_PER_FL_OZ = 29.5735
PURE = {
    "sodium bicarbonate": Composition.of(carbonate=1e3 / 84.006, sodium=1e3 / 84.006),
    "calcium chloride": Composition.of(calcium=1e3 / 110.984, chloride=2e3 / 110.984),
    "hydrochloric acid": Composition.of(chloride=1e3 / 36.461),
    "sodium bisulfate": Composition.of(sodium=1e3 / 120.054, sulfate=1e3 / 120.054),
    "sodium carbonate": Composition.of(carbonate=1e3 / 105.988, sodium=2e3 / 105.988),
    "cyanuric acid": Composition.of(cyanurate=1e3 / 129.075),
    "boric acid": Composition.of(borate=1e3 / 61.832),
    "dichloroisocyanurate dihydrate": Composition.of(
        chlorine=2e3 / 255.977, cyanurate=1e3 / 255.977, sodium=1e3 / 255.977
    ),
    "calcium hypochlorite": Composition.of(calcium=1e3 / 142.982, chlorine=2e3 / 142.982),
    "trichloroisocyanuric acid": Composition.of(chlorine=3e3 / 232.410, cyanurate=1e3 / 232.410),
    "sodium hypochlorite": Composition.of(sodium=1e3 / 74.442, chlorine=1e3 / 74.442),
}
with (DATA / "handbook_doses.csv").open(encoding="utf-8") as lines:
    ROWS = list(csv.DictReader(line for line in lines if not line.startswith("#")))


def grams_of(row: dict[str, str]) -> float:
    amount = float(row["dose"])
    if row["unit"] == "fl oz":
        return amount * ML_PER_FL_OZ * float(row["density_kg_per_L"])
    return amount * GRAMS[row["unit"]]


@pytest.mark.parametrize("row", ROWS, ids=[row["substance"] for row in ROWS])
def test_a_handbook_dose_changes_the_reading_as_the_handbook_says(row: dict[str, str]) -> None:
    water = Water.of(25.0, carbonate=1.7e-3, calcium=1.5e-3, sodium=3e-3, chloride=4.3e-3)
    product = PURE[row["substance"]].scaled(float(row["strength"]))
    after = dose(water, product, grams_of(row), LITRES)
    change = float(mg_per_litre(after, row["quantity"]) - mg_per_litre(water, row["quantity"]))
    assert change == pytest.approx(float(row["change"]), rel=float(row["tolerance"]))


def test_the_strengths_of_the_hypochlorites_are_those_of_the_handbook() -> None:
    # "65 %" and "90 %" mean available chlorine (mass of Cl2 per mass of product), and 125 g/L the same by volume.
    by_name = {row["substance"]: row for row in ROWS}
    for name, available in {"calcium hypochlorite": 0.65, "trichloroisocyanuric acid": 0.915}.items():
        per_gram = PURE[name].oxidant * 70.906 * float(by_name[name]["strength"])
        assert per_gram == pytest.approx(available, rel=0.001)
    liquid = by_name["sodium hypochlorite"]
    grams_per_litre = float(liquid["strength"]) * float(liquid["density_kg_per_L"]) * 1000.0
    assert PURE["sodium hypochlorite"].oxidant * 70.906 * grams_per_litre == pytest.approx(125.0, rel=0.001)
