"""Verdict and plan, read off the belief."""

from tubwater.advice.now import Situation
from tubwater.advice.purposes import make_plan
from tubwater.advice.verdict import judge
from tubwater.advice.wishes import About, Occasion, Wishes

__all__ = ["About", "Occasion", "Situation", "Wishes", "judge", "make_plan"]
