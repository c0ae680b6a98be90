"""Substances do to the water what stoichiometry says, and a label's strength becomes a mass fraction."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from tubwater.chemistry import INDEX, MG_PER_EQ_CACO3
from tubwater.errors import InputError
from tubwater.facts import StatedAs, incompatible, substances

_TABLE = Path(__file__).with_name("substances_per_gram.csv").read_text(encoding="utf-8").splitlines()
ROWS = list(csv.DictReader(line for line in _TABLE if not line.startswith("#")))
CHLORINE, OXYGEN = StatedAs.AVAILABLE_CHLORINE, StatedAs.ACTIVE_OXYGEN


@pytest.mark.parametrize("row", ROWS, ids=[row["key"] for row in ROWS])
def test_a_substance_moves_alkalinity_and_oxidant_as_calculated_by_hand(row: dict[str, str]) -> None:
    found = substances()[row["key"]].composition
    assert found.alkalinity * MG_PER_EQ_CACO3 == pytest.approx(float(row["alkalinity_at_once"]), abs=1.01e-4)
    assert found.alkalinity_spent * MG_PER_EQ_CACO3 == pytest.approx(float(row["alkalinity_spent"]), abs=1.01e-4)
    assert found.oxidant * 70.906 == pytest.approx(float(row["as_cl2"]), abs=1.01e-4)
    assert found.oxidant * 159.808 == pytest.approx(float(row["as_br2"]), abs=2e-4)


def test_the_table_by_hand_covers_every_substance_but_those_that_use_halogen_up() -> None:
    assert set(substances()) - {row["key"] for row in ROWS} == {
        "hydrogen-peroxide",
        "thiosulfate-pentahydrate",
        "ascorbic-acid",
    }


# mg of Cl2 that one mg uses up: peroxide and ascorbic acid mole for mole, thiosulfate by the field figure 1 / 1.9.
@pytest.mark.parametrize(
    ("key", "chlorine"),
    [("hydrogen-peroxide", 2.08), ("ascorbic-acid", 1 / 2.484), ("thiosulfate-pentahydrate", 1 / 1.9)],
)
def test_a_reducer_uses_up_the_halogen_that_its_source_says(key: str, chlorine: float) -> None:
    demand = substances()[key].composition.per_gram[INDEX["reductant"]]
    assert demand * 70.906 == pytest.approx(chlorine, rel=0.003)


# Usual labels of products on sale (from memory) against the mass fraction calculated from molar masses.
@pytest.mark.parametrize(
    ("key", "stated", "way", "fraction"),
    [
        ("monopersulfate", 0.047, OXYGEN, 0.903),
        ("calcium-hypochlorite", 0.65, CHLORINE, 0.6554),
        ("dichlor-dihydrate", 0.55, CHLORINE, 0.9928),
        ("dichlor-dihydrate", 0.56, CHLORINE, 1.0),
        ("trichlor", 0.90, CHLORINE, 0.9833),
        ("lithium-hypochlorite", 0.35, CHLORINE, 0.2882),
        ("sodium-hypochlorite", 0.10, CHLORINE, 0.1050),
        ("sodium-bisulfate", 0.932, StatedAs.MASS_FRACTION, 0.932),
    ],
)
def test_a_label_s_strength_becomes_a_mass_fraction(key: str, stated: float, way: StatedAs, fraction: float) -> None:
    assert substances()[key].mass_fraction(stated, way) == pytest.approx(fraction, rel=1e-3)


@pytest.mark.parametrize(
    ("key", "stated", "way"),
    [
        ("monopersulfate", 0.45, OXYGEN),
        ("trichlor", 0.99, CHLORINE),
        ("sodium-bicarbonate", 0.0, StatedAs.MASS_FRACTION),
        ("sodium-bicarbonate", -0.5, StatedAs.MASS_FRACTION),
        ("sodium-bicarbonate", 99.0, StatedAs.MASS_FRACTION),
        ("sodium-bicarbonate", float("nan"), StatedAs.MASS_FRACTION),
        ("sodium-bromide", 0.4, CHLORINE),
    ],
)
def test_an_impossible_strength_is_refused(key: str, stated: float, way: StatedAs) -> None:
    with pytest.raises(InputError):
        substances()[key].mass_fraction(stated, way)


PAIRS = [
    ("bcdmh", "trichlor"),
    ("bcdmh", "calcium-hypochlorite"),
    ("dbdmh", "monopersulfate"),
    ("trichlor", "calcium-hypochlorite"),
    ("sodium-hypochlorite", "hydrochloric-acid"),
    ("monopersulfate", "sodium-bromide"),
    ("monopersulfate", "sodium-hypochlorite"),
    ("sodium-bisulfate", "sodium-hypochlorite"),
    ("sodium-bisulfate", "sodium-carbonate"),
    ("hydrochloric-acid", "sodium-hydroxide"),
    ("thiosulfate-pentahydrate", "bcdmh"),
    ("hydrogen-peroxide", "sodium-hypochlorite"),
]


@pytest.mark.parametrize(("first", "second"), PAIRS)
def test_a_dangerous_pair_is_known_whichever_comes_first(first: str, second: str) -> None:
    assert incompatible(first, second) is not None
    assert incompatible(first, second) == incompatible(second, first)


def test_harmless_pairs_are_not_flagged() -> None:
    assert incompatible("sodium-bicarbonate", "calcium-chloride") is None
    assert incompatible("sodium-bisulfate", "sodium-bisulfate-monohydrate") is None


def test_every_oxidizer_is_kept_from_every_acid_and_every_reducer() -> None:
    table = substances()
    oxidizers = [key for key, s in table.items() if s.composition.oxidant > 0.0]
    others = [key for key, s in table.items() if s.family in {"acid", "reducer"}]
    assert len(oxidizers) == 9
    for oxidizer in oxidizers:
        for other in others:
            assert incompatible(oxidizer, other) is not None, (oxidizer, other)
