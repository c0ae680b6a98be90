"""The use cases: one verb each."""

from tubwater.services.advise import case_of, plan_for, products_of, verdict_for, water_for

__all__ = ["case_of", "plan_for", "products_of", "verdict_for", "water_for"]
