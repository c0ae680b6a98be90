"""What a keeper can read off a tub, and the closed list of names for it."""

from __future__ import annotations

from enum import StrEnum

__all__ = ["OxidantScale", "Quantity"]


class Quantity(StrEnum):
    """A measurable quantity. The comment gives the unit in which the project holds it."""

    BROMINE = "bromine"  # total bromine, mg/L as Br2
    FREE_CHLORINE = "free chlorine"  # mg/L as Cl2
    TOTAL_CHLORINE = "total chlorine"  # mg/L as Cl2
    PH = "pH"  # -log10 of the hydrogen ion activity
    TOTAL_ALKALINITY = "total alkalinity"  # mg/L as CaCO3, titrated
    CALCIUM_HARDNESS = "calcium hardness"  # mg/L as CaCO3
    TOTAL_HARDNESS = "total hardness"  # calcium and magnesium, mg/L as CaCO3
    CYANURIC_ACID = "cyanuric acid"  # mg/L
    BORATE = "borate"  # mg/L as B
    SULFATE = "sulfate"  # mg/L
    CHLORIDE = "chloride"  # mg/L
    SODIUM = "sodium"  # mg/L
    MAGNESIUM = "magnesium"  # mg/L
    CONDUCTIVITY = "conductivity"  # uS/cm at 25 degC
    TEMPERATURE = "temperature"  # degC
    TURBIDITY = "turbidity"  # NTU
    TABLETS_LEFT = "tablets left"  # % of those that the feeder was set to last


class OxidantScale(StrEnum):
    """The scale on which an oxidant reading is printed."""

    AS_BR2 = "as Br2"
    AS_CL2 = "as Cl2"
