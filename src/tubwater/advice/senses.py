"""What eye, nose and hand said, and how a reading is told."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tubwater.tub import Answer, Clarity, Noticed, Sign

__all__ = ["kind_of_sign", "told_of", "worst_of"]

_WORST_CLARITY = (Clarity.CLOUDY, Clarity.HAZY, Clarity.CLEAR, Clarity.UNKNOWN)
_WORST_ANSWER = (Answer.YES, Answer.UNKNOWN, Answer.NO)


def worst_of(looks: Sequence[Noticed]) -> Noticed:
    """Of looks of one moment the worst of each answer."""
    signs = frozenset(sign for look in looks for sign in look.signs)
    hours = [look.lapse_hours for look in looks if look.lapse_hours is not None]
    return replace(
        looks[-1],
        clarity=min((look.clarity for look in looks), key=_WORST_CLARITY.index),
        signs=signs,
        lapse_hours=max(hours) if hours else None,
        unlogged_soak=min((look.unlogged_soak for look in looks), key=_WORST_ANSWER.index),
    )


def kind_of_sign(sign: Sign) -> str:
    """The kind of the reason that a sign gives to keep people out."""
    return "contamination" if sign is Sign.CONTAMINATION else f"sign-{sign.value.replace(' ', '-')}"


def told_of(low: float, high: float) -> dict[str, float | str]:
    """A reading for a text: a value, two ends, or the end of the scale that it lies below or above."""
    if np.isinf(low) or np.isinf(high):
        return {"below": high} if np.isinf(low) else {"above": low}
    return {"value": low} if low == high else {"from": low, "to": high}
