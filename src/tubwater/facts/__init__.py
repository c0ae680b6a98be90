"""Facts as data: substances, test methods, guidelines, defaults and their sources."""

from tubwater.facts.basis import Basis, BasisKind
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
    Substance,
    defaults,
    find_substance,
    guidelines,
    incompatible,
    methods,
    references,
    substances,
)

__all__ = [
    "Basis",
    "BasisKind",
    "Default",
    "Form",
    "Guideline",
    "Incompatibility",
    "Limits",
    "Method",
    "MethodQuantity",
    "OxidantScale",
    "Quantity",
    "Reference",
    "Role",
    "Substance",
    "defaults",
    "find_substance",
    "guidelines",
    "incompatible",
    "methods",
    "references",
    "substances",
]
