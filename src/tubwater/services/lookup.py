"""The lists of facts, for a face."""

from __future__ import annotations

from collections.abc import Mapping

from tubwater.facts import (
    Guideline,
    Method,
    Reference,
    Substance,
    care_steps,
    guidelines,
    methods,
    references,
    substances,
)

__all__ = ["all_guidelines", "all_methods", "all_references", "all_substances", "method_key", "regular_care"]


def all_substances() -> tuple[Substance, ...]:
    """Every substance."""
    return tuple(substances().values())


def all_methods() -> tuple[Method, ...]:
    """Every test method."""
    return tuple(methods().values())


def all_guidelines() -> tuple[Guideline, ...]:
    """Every guideline."""
    return tuple(guidelines().values())


def regular_care() -> tuple[str, ...]:
    """Keys of the tasks of care that come again and again."""
    return tuple(care_steps())


def all_references() -> Mapping[str, Reference]:
    """Every source by its key."""
    return references()


def method_key(given: str) -> str:
    """The key of a test method by its key or by the name it is listed under; empty where there is no such method."""
    wanted = _plain(given)
    return next((key for key, method in methods().items() if wanted in (_plain(key), _plain(method.name))), "")


def _plain(name: str) -> str:
    return " ".join(name.lower().replace("-", " ").split())
