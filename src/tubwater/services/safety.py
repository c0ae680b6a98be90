"""The safety sheet as data: which families never meet, the rules by topic, and what stands on a given shelf."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

from tubwater.facts import Basis, substances
from tubwater.facts.safety import SafetyRule, families, family_pairs, safety_rules
from tubwater.tub import Product, Shelf

__all__ = ["NeverMix", "SafetySheet", "never_mix", "safety_sheet"]

_GRAVEST = (
    "explosion",
    "fire",
    "chlorine gas",
    "halogen gas",
    "bromine vapour",
    "gas",
    "heat",
    "carbon dioxide",
    "avoid",
)


@dataclass(frozen=True)
class NeverMix:
    """Two products of a shelf that never meet, and what happens."""

    first: str
    second: str
    effect: str
    basis: Basis


@dataclass(frozen=True)
class SafetySheet:
    """Everything on the sheet.

    Attributes:
        families: rows and columns of the table. effects: (family, family, effect), each pair once.
        members: family to the names of its substances. rules: by topic. on_shelf: pairs on this shelf.
        hazards: product of the shelf to short words for its danger.
    """

    families: tuple[str, ...]
    effects: tuple[tuple[str, str, str], ...]
    members: tuple[tuple[str, tuple[str, ...]], ...]
    basis: Basis
    rules: tuple[tuple[str, tuple[SafetyRule, ...]], ...]
    on_shelf: tuple[NeverMix, ...] = ()
    hazards: tuple[tuple[str, tuple[str, ...]], ...] = ()

    def effect(self, first: str, second: str) -> str:
        """What happens when two families meet; empty where nothing is known against it."""
        pairs = {frozenset((a, b)): effect for a, b, effect in self.effects}
        return pairs.get(frozenset((first, second)), "")

    def meets(self, family: str) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """Every effect that a family may have, the gravest first, each with the families that bring it about."""
        others = [(self.effect(family, other), other) for other in self.families if other != family]
        return tuple(
            (effect, found)
            for effect in _GRAVEST
            if (found := tuple(other for kind, other in others if kind == effect))
        )


def safety_sheet(shelf: Shelf | None = None) -> SafetySheet:
    """The sheet, with what stands on ``shelf`` where one is given."""
    shown = families()
    pairs = {key: found for key, found in family_pairs().items() if key <= set(shown)}
    effects = tuple((*sorted(key, key=shown.index), found.effect) for key, found in pairs.items())
    members = tuple((family, tuple(s.name for s in substances().values() if s.family == family)) for family in shown)
    products = shelf.products if shelf else ()
    return SafetySheet(
        families=shown,
        effects=tuple((a, b, effect) for a, b, effect in effects),
        members=members,
        basis=next(iter(pairs.values())).basis,
        rules=tuple(safety_rules().items()),
        on_shelf=never_mix(Shelf(products)),
        hazards=tuple((p.name, substances()[p.substance].hazards) for p in products),
    )


def never_mix(shelf: Shelf) -> tuple[NeverMix, ...]:
    """The pairs of a shelf that never meet, the gravest first."""
    found = [pair for a, b in combinations(shelf.products, 2) if (pair := _pair(a, b))]
    return tuple(sorted(found, key=lambda pair: _GRAVEST.index(pair.effect)))


def _pair(first: Product, second: Product) -> NeverMix | None:
    """A blend counts with every family of its declared parts."""
    meets = [family_pairs().get(frozenset((a, b))) for a in _families(first) for b in _families(second)]
    kinds = sorted((m for m in meets if m), key=lambda m: _GRAVEST.index(m.effect))
    return NeverMix(first.name, second.name, kinds[0].effect, kinds[0].basis) if kinds else None


def _families(product: Product) -> set[str]:
    return {substances()[key].family for key in (product.substance, *product.declared_parts)}
