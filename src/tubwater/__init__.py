"""Tubwater keeps the water of hot tubs safe: from an imprecise test to a computed plan, with its doubt."""

__all__ = ["__version__"]

__version__ = "0.1.0"
