"""Verdict and plan, read off the belief."""

from tubwater.advice.now import Situation
from tubwater.advice.verdict import judge
from tubwater.advice.visit import make_plan
from tubwater.advice.wishes import Wishes

__all__ = ["Situation", "Wishes", "judge", "make_plan"]
