"""The cheapest suitable product for a need: by what a gram of it brings into the water, and its price.

What a gram brings follows from its composition (a calculation).  Acid and base count by how they move the alkalinity
less the carbonate they bring along, which is what turns carbon dioxide into bicarbonate or back: a mol of soda ash
then counts once, as one of caustic soda does, and bicarbonate not at all (the reference level of bicarbonate; Stumm &
Morgan, Aquatic Chemistry, ch. 4, cited from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np

from tubwater.advice.beside import Beside
from tubwater.advice.costs import price_per_gram
from tubwater.advice.now import Situation, substance_of
from tubwater.advice.reagents import product_good_until
from tubwater.advice.safety import largest_allowed
from tubwater.chemistry import INDEX, MG_PER_MOL, Composition
from tubwater.facts import Role
from tubwater.tub import Product, Reason, Sanitizer

__all__ = ["NEEDS", "Candidate", "Need", "candidates_for", "needs_of"]

_CACO3_EQ, _CACO3_MOL = 50.0435, 100.087  # g for each eq of alkalinity, g for each mol of calcium
_BR2, _CL2 = 159.808, 70.906


@dataclass(frozen=True)
class Need:
    """Something the water may want.

    Attributes:
        role: what a product has to be for. size: of the usual step that prices are compared at, mg/L. unit: of what.
    """

    role: Role
    size: float
    unit: str
    effect: Callable[[Composition], float]  # g of that unit for each g of product


def _net_base(recipe: Composition) -> float:
    return (recipe.alkalinity - float(recipe.per_gram[INDEX["carbonate"]])) * _CACO3_EQ


def _row(name: str, grams_per_mol: float) -> Callable[[Composition], float]:
    return lambda recipe: float(recipe.per_gram[INDEX[name]]) * grams_per_mol


# The sizes of the steps are usual ones (judgement); they only scale what is compared.
NEEDS: Mapping[str, Need] = {
    "raise-alkalinity": Need(Role.RAISE_ALKALINITY, 10.0, "CaCO3", lambda recipe: recipe.alkalinity * _CACO3_EQ),
    "lower-pH": Need(Role.LOWER_PH, 10.0, "CaCO3", lambda recipe: -_net_base(recipe)),
    "raise-pH": Need(Role.RAISE_PH, 5.0, "CaCO3", _net_base),
    "raise-calcium": Need(Role.RAISE_CALCIUM, 20.0, "CaCO3", _row("calcium", _CACO3_MOL)),
    "bromide-bank": Need(Role.BROMIDE_BANK, 20.0, "Br-", _row("bromide", MG_PER_MOL["bromide"])),
    "oxidizer": Need(Role.OXIDIZER, 3.0, "Br2", lambda recipe: recipe.oxidant * _BR2),
    "slow-bromine": Need(Role.SLOW_BROMINE, 3.0, "Br2", lambda recipe: recipe.oxidant * _BR2),
    "chlorine": Need(Role.CHLORINE_DOSE, 3.0, "Cl2", lambda recipe: recipe.oxidant * _CL2),
}
# What stays in the water: its unit in the tables, and the components that end as it once the oxidant is spent.
_STAYS: Mapping[str, tuple[str, ...]] = {
    "calcium hardness": ("calcium",),
    "sodium": ("sodium",),
    "chloride": ("chloride", "chlorine"),
    "sulfate": ("sulfate", "monopersulfate"),
    "bromide": ("bromide", "bromine"),
    "hydantoin": ("hydantoin",),
    "cyanuric acid": ("cyanurate",),
}
_MEANT = {Role.RAISE_CALCIUM: "calcium hardness", Role.BROMIDE_BANK: "bromide", Role.SLOW_BROMINE: "bromide"}
_LEAST = 0.05  # mg/L that is worth telling


@dataclass(frozen=True)
class Candidate:
    """A product for a need.

    Attributes:
        grams: for one step of the need in this tub. price: of them, None where it is not known.
        against: why it does not suit, empty where it does. now: whether so much may go into the water as it is.
        in_hand: on the shelf. adds: what else a step leaves in the water, mg/L; below zero for what it takes.
    """

    product: Product
    grams: float
    price: float | None
    currency: str
    against: tuple[Reason, ...]
    now: bool
    in_hand: bool
    adds: Mapping[str, float]

    @property
    def suits(self) -> bool:
        """Nothing speaks against it in this tub."""
        return not self.against


def needs_of(sanitizer: Sanitizer) -> tuple[str, ...]:
    """The needs of a tub."""
    other = {"chlorine"} if sanitizer is Sanitizer.BROMINE else {"bromide-bank", "oxidizer", "slow-bromine"}
    return tuple(need for need in NEEDS if need not in other)


def candidates_for(
    case: Situation, need: str, products: Iterable[tuple[Product, bool]], today: date
) -> tuple[Candidate, ...]:
    """Products (each with whether it is in hand) for a need: suitable ones first, of these the cheapest first."""
    beside = Beside(case)
    found = [_candidate(case, beside, NEEDS[need], product, in_hand, today)
             for product, in_hand in products if NEEDS[need].role in substance_of(product).roles]  # fmt: skip
    return tuple(sorted(found, key=_rank))


def _rank(candidate: Candidate) -> tuple[bool, bool, str, float, str]:
    price = candidate.price
    return (not candidate.suits, price is None, candidate.currency, price or 0.0, candidate.product.name)


def _candidate(case: Situation, beside: Beside, need: Need, product: Product, in_hand: bool, today: date) -> Candidate:
    against = tuple(_against(case, product, today))
    pure, litres = substance_of(product).composition, float(np.median(case.rates.litres))
    recipe = pure.scaled(product.strength or substance_of(product).strength[1])
    grams = need.size * litres / 1000.0 / need.effect(recipe)
    per_gram = price_per_gram(product) if product.strength else None
    high = case.limits(case.sanitizer_quantity).bathing_high
    may = not against and largest_allowed(beside, product, recipe, grams, litres, high) > 0.0
    price = None if per_gram is None else per_gram * grams
    adds = _adds(need, recipe, grams / litres)
    return Candidate(product, grams, price, product.package.currency, against, may, in_hand, adds)


def _adds(need: Need, recipe: Composition, grams_per_litre: float) -> Mapping[str, float]:
    """What else a step leaves in the water, mg/L, with what an oxidant takes from the alkalinity once it is spent."""
    per_gram = {name: sum(recipe.per_gram[INDEX[part]] for part in parts) for name, parts in _STAYS.items()}
    found = {name: MG_PER_MOL[name] * amount for name, amount in per_gram.items() if name != _MEANT.get(need.role)}
    if recipe.oxidant > 0.0:
        found["total alkalinity"] = recipe.alkalinity_spent * _CACO3_EQ
    mg = {name: float(amount) * grams_per_litre * 1000.0 for name, amount in found.items()}
    return {name: amount for name, amount in mg.items() if abs(amount) >= _LEAST}


def _against(case: Situation, product: Product, today: date) -> Iterable[Reason]:
    """Refused in this tub, without a strength, a blend, or past its date."""
    kind = substance_of(product).refusal(case.tub.sanitizer)
    if kind:
        yield Reason(kind, {"product": product.name}, substance_of(product).strength_basis)
    if product.declared_parts:
        yield Reason("blend-no-comparison", {"product": product.name})
    elif not product.strength:
        yield Reason("strength-unknown", {"product": product.name})
    until = product_good_until(product)
    if until.over(today):
        basis = until.reason.basis if until.reason else None
        yield Reason("past-its-date", {"product": product.name, "day": str(until.day)}, basis)
