"""Why something is advised: a kind, values and a basis, never a sentence."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from tubwater.facts.basis import Basis

__all__ = ["Reason"]

_NO_VALUES: Mapping[str, float | str] = MappingProxyType({})


@dataclass(frozen=True)
class Reason:
    """Why something is said: a kind that a catalogue turns into a sentence, its values and its basis."""

    kind: str
    values: Mapping[str, float | str] = field(default_factory=lambda: _NO_VALUES)
    basis: Basis | None = None
