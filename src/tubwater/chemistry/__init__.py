"""The chemistry of the water: pure functions on arrays of any shape, mol per kg water inside."""

from tubwater.chemistry.buffer import FrozenBuffer, freeze
from tubwater.chemistry.composition import Composition
from tubwater.chemistry.constants import DEFAULT, REFERENCE_2024, REFERENCE_OLDER, Constants
from tubwater.chemistry.dosing import dose
from tubwater.chemistry.equilibrium import COARSE, Equilibrium, at_pco2, equilibrate
from tubwater.chemistry.gas import exchange
from tubwater.chemistry.halogens import (
    activate,
    bromine_shares,
    monopersulfate_rate,
    react_monopersulfate,
    reduce_halogen,
    second_order,
    spend,
)
from tubwater.chemistry.inversion import (
    Inversion,
    alkalinity_parts,
    carbonate_from,
    closed,
    from_test,
    solve_pair,
    titrated_alkalinity,
    water_at_ph,
)
from tubwater.chemistry.mixing import heat, mix, remove_and_refill
from tubwater.chemistry.saturation import calcite_index, precipitate, precipitation_potential
from tubwater.chemistry.units import (
    KG_PER_LITRE,
    MG_PER_EQ_CACO3,
    MG_PER_MOL,
    bromide_bank,
    conductivity,
    kg_water_per_litre,
    mg_per_litre,
    mol_per_kg,
    total_dissolved_solids,
)
from tubwater.chemistry.water import COMPONENTS, INDEX, STRONG_CHARGE, Water, stacked

__all__ = [
    "COARSE",
    "COMPONENTS",
    "DEFAULT",
    "INDEX",
    "KG_PER_LITRE",
    "MG_PER_EQ_CACO3",
    "MG_PER_MOL",
    "REFERENCE_2024",
    "REFERENCE_OLDER",
    "STRONG_CHARGE",
    "Composition",
    "Constants",
    "Equilibrium",
    "FrozenBuffer",
    "Inversion",
    "Water",
    "activate",
    "alkalinity_parts",
    "at_pco2",
    "bromide_bank",
    "bromine_shares",
    "calcite_index",
    "carbonate_from",
    "closed",
    "conductivity",
    "dose",
    "equilibrate",
    "exchange",
    "freeze",
    "from_test",
    "heat",
    "kg_water_per_litre",
    "mg_per_litre",
    "mix",
    "mol_per_kg",
    "monopersulfate_rate",
    "precipitate",
    "precipitation_potential",
    "react_monopersulfate",
    "reduce_halogen",
    "remove_and_refill",
    "second_order",
    "solve_pair",
    "spend",
    "stacked",
    "titrated_alkalinity",
    "total_dissolved_solids",
    "water_at_ph",
]
