"""Facts as data: substances, test methods, guidelines, defaults and their sources."""

from tubwater.facts.basis import Basis, BasisKind
from tubwater.facts.conversion import UNIT_OF, in_unit_of
from tubwater.facts.practice import CareStep, Interference, care_steps, interferences, must_be_done
from tubwater.facts.quantity import OxidantScale, Quantity
from tubwater.facts.tables import (
    Default,
    Form,
    Guideline,
    Incompatibility,
    Limits,
    Method,
    MethodQuantity,
    Reference,
    Role,
    StatedAs,
    Substance,
    defaults,
    find_substance,
    guidelines,
    incompatible,
    methods,
    references,
    substances,
)
from tubwater.facts.troubles import Cause, Check, Troubles, troubles

__all__ = [
    "UNIT_OF",
    "Basis",
    "BasisKind",
    "CareStep",
    "Cause",
    "Check",
    "Default",
    "Form",
    "Guideline",
    "Incompatibility",
    "Interference",
    "Limits",
    "Method",
    "MethodQuantity",
    "OxidantScale",
    "Quantity",
    "Reference",
    "Role",
    "StatedAs",
    "Substance",
    "Troubles",
    "care_steps",
    "defaults",
    "find_substance",
    "guidelines",
    "in_unit_of",
    "incompatible",
    "interferences",
    "methods",
    "must_be_done",
    "references",
    "substances",
    "troubles",
]
