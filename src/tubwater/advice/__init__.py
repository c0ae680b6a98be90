"""Verdict and plan, read off the belief."""

from tubwater.advice.now import Situation
from tubwater.advice.plans import make_plan
from tubwater.advice.verdict import judge
from tubwater.advice.wishes import Occasion, Wishes

__all__ = ["Occasion", "Situation", "Wishes", "judge", "make_plan"]
