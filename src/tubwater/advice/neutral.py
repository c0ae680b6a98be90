"""How the sanitizer goes down before the water is let out: by itself, or by what uses it up."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tubwater.advice.now import Situation
from tubwater.chemistry import INDEX
from tubwater.facts import Role, Substance, substances
from tubwater.tub import Product, Reason, Step, StepKind

__all__ = ["neutralised"]

_DOWN_TO = 0.5  # mg/L on the tub's own scale, that a household's waste water may well hold (judgement)
_REDUCER = "ascorbic-acid"


def neutralised(case: Situation, steps: Sequence[Step]) -> tuple[Reason, ...]:
    """Hours that it takes by itself, and grams that bring it down now; nothing where no water is let out."""
    moves = [step.kind for step in steps if step.kind in (StepKind.DRAIN, StepKind.FILL)]
    if case.empty or moves[:1] != [StepKind.DRAIN]:
        return ()  # what is filled in and let out again holds none
    present = float(np.median(case.sanitizer_of(case.state)))
    if present <= _DOWN_TO:
        return ()
    decay = float(np.median(case.rates.decay_at(case.state.water.temperature)))
    product = next((p for p in case.shelf.products if Role.REDUCER in substances()[p.substance].roles), None)
    substance = substances()[product.substance if product else _REDUCER]
    mol = present / case.grams_per_mol * float(np.median(case.rates.litres)) / 1000.0
    values: dict[str, float | str] = {
        "value": present,
        "goal": _DOWN_TO,
        "hours": float(np.log(present / _DOWN_TO)) / decay,
        "product": product.name if product else substance.name,
        "grams": mol / _demand(substance, product),
    }
    return (Reason("neutralise-first", values, substance.basis),)


def _demand(substance: Substance, product: Product | None) -> float:
    """Halogen that a gram uses up, mol."""
    strength = (product.strength if product else None) or substance.strength[1]
    return float(substance.composition.scaled(strength).per_gram[INDEX["reductant"]])
