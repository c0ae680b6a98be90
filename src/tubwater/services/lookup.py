"""The lists of facts, for a face."""

from __future__ import annotations

from tubwater.facts import Guideline, Method, Substance, guidelines, methods, substances

__all__ = ["all_guidelines", "all_methods", "all_substances"]


def all_substances() -> tuple[Substance, ...]:
    """Every substance."""
    return tuple(substances().values())


def all_methods() -> tuple[Method, ...]:
    """Every test method."""
    return tuple(methods().values())


def all_guidelines() -> tuple[Guideline, ...]:
    """Every guideline."""
    return tuple(guidelines().values())
