"""What goes in after people were in the water."""

from __future__ import annotations

from dataclasses import dataclass

from tubwater.advice.measures import amount_of, grams_floor
from tubwater.tub import Amount, Plan, Shelf

__all__ = ["SoakAnswer", "answer_to_soak"]


@dataclass(frozen=True)
class SoakAnswer:
    """The dose after a soak, None where the plan has none; ``capped`` at the day's most: then a test comes first."""

    amount: Amount | None
    wait_minutes: float = 0.0
    capped: bool = False
    cautions: tuple[str, ...] = ()


def answer_to_soak(plan: Plan, shelf: Shelf, people: float, minutes: float, given_today: float = 0.0) -> SoakAnswer:
    """The plan's standing rule for so many people and minutes.

    Args:
        minutes: of the soak, min. given_today: grams of the same product that went in within the last day.
    """
    rule = plan.after_soak
    product = next((p for p in shelf.products if rule and p.name == rule.amount.product), None)
    if rule is None or product is None:
        return SoakAnswer(None)
    grams = rule.amount.grams * people * minutes / 30.0
    most = grams_floor(product, max(rule.daily_cap_grams - given_today, 0.0))
    amount = amount_of(product, min(grams, most), down=grams > most)
    found = amount if amount.grams > 0.0 else None
    return SoakAnswer(found, rule.wait_minutes, grams > most, rule.cautions)
