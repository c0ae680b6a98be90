"""One way to a plan: the usual visit, or what else it is asked for.

What is wrong before any dose comes first, whatever was asked: no wish makes a contaminated tub wait.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from tubwater.advice.away import plan_away, plan_back
from tubwater.advice.goals import plan_with_goals, plan_with_signs
from tubwater.advice.in_hand import with_shelf
from tubwater.advice.now import Situation
from tubwater.advice.overnight import plan_overnight
from tubwater.advice.part_change import plan_complaint, plan_metals, plan_part_change
from tubwater.advice.party import plan_after_soak, plan_party
from tubwater.advice.plans import usual_plan
from tubwater.advice.procedure import procedure_for, still_to_do
from tubwater.advice.verdict import judge
from tubwater.advice.water_goes import plan_emptied, plan_renewed
from tubwater.advice.wishes import About, Wishes
from tubwater.facts.purposes import Purpose, Way, purposes
from tubwater.facts.situations import Procedure, Then
from tubwater.tub import Plan, Reason, Verdict

__all__ = ["make_plan"]

_Planner = Callable[[Situation, Verdict, Wishes, int, Purpose, About], Plan]
_PLANNERS: Mapping[Way, _Planner] = {
    Way.ANEW: plan_renewed,
    Way.EMPTY: plan_emptied,
    Way.AWAY: plan_away,
    Way.BACK: plan_back,
    Way.PARTY: plan_party,
    Way.SOAKED: plan_after_soak,
    Way.GOALS: plan_with_goals,
    Way.SIGNS: plan_with_signs,
    Way.OVERNIGHT: plan_overnight,
    Way.PART: plan_part_change,
    Way.METALS: plan_metals,
    Way.COMPLAINT: plan_complaint,
}


def make_plan(case: Situation, wishes: Wishes, seed: int = 0) -> Plan:
    """A plan a person can carry out: steps in order, what follows, when people may get in, and what the shelf lacks."""
    return with_shelf(_plan(case, wishes, seed), case)


def _plan(case: Situation, wishes: Wishes, seed: int) -> Plan:
    if wishes.about is None:
        return usual_plan(case, wishes, seed)
    purpose, verdict = purposes()[wishes.about.key], judge(case)
    found = procedure_for(case, {reason.kind for reason in verdict.reasons})
    if found is not None and _comes_first(case, found):
        return _told(usual_plan(case, wishes, seed), Reason("first-this"))
    if purpose.tub and purpose.tub != case.tub.sanitizer:
        return _told(usual_plan(case, wishes, seed), Reason("kept-otherwise", {"sanitizer": str(case.tub.sanitizer)}))
    return _PLANNERS[purpose.way](case, verdict, wishes, seed, purpose, wishes.about)


def _comes_first(case: Situation, found: Procedure) -> bool:
    return found.then is Then.STOP or (found.then is Then.FRESH and bool(still_to_do(case, found)))


def _told(plan: Plan, note: Reason) -> Plan:
    return replace(plan, notes=(note, *plan.notes))
