"""What was learned of a tub from its logbook."""

from __future__ import annotations

from tubwater.advice import Situation
from tubwater.belief import Change, Learned, LearnedValue, changes, learned

__all__ = ["Change", "Learned", "LearnedValue", "changes_of", "learned_of"]


def learned_of(case: Situation) -> Learned:
    """Properties of the tub as they are believed now, beside what was assumed before."""
    return learned(case.belief)


def changes_of(case: Situation) -> tuple[Change, ...]:
    """What seems to have changed at the tub of late."""
    return changes(case.belief)
