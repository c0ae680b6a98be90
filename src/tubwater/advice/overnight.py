"""A sanitizer that never holds: fed up to its aim, and read in the evening and in the morning, unused and covered.

What a night takes tells bathers from film: what people brought is used up within a day, film takes on and on.
"""

from __future__ import annotations

from datetime import timedelta

import numpy as np

from tubwater.advice.closing import closed, kept_out
from tubwater.advice.decide import bank_is_thin, bromide_to, kit_of, oxidizer_to
from tubwater.advice.ending import shopping
from tubwater.advice.feeder import close_feeder
from tubwater.advice.now import Situation
from tubwater.advice.plans import usual_plan
from tubwater.advice.procedure import procedure_for
from tubwater.advice.stops import must_test_first
from tubwater.advice.timeline import Timeline
from tubwater.advice.too_high import reads_too_high
from tubwater.advice.troubles import rank, water_evidence
from tubwater.advice.wishes import About, Wishes
from tubwater.chemistry import bromide_bank
from tubwater.facts import Basis, BasisKind, defaults
from tubwater.facts.purposes import Purpose
from tubwater.facts.quantity import Quantity
from tubwater.tub import Plan, Reason, Sanitizer, StepKind, Verdict

__all__ = ["plan_overnight"]

_NIGHT_HOURS = 12.0
_FILM, _BATHERS = 0.5, 0.2  # of the evening's reading gone by the morning (common practice)
_TOLD_CAUSES = 3
_RANKED = Basis(BasisKind.COMMON_PRACTICE, (), "an order of likelihood, no more")


def plan_overnight(
    case: Situation, verdict: Verdict, wishes: Wishes, seed: int, purpose: Purpose, about: About
) -> Plan:
    """Filter, bank, sanitizer to its aim, and the two readings that tell what takes it."""
    kinds = {reason.kind for reason in verdict.reasons}
    if must_test_first(case, kinds) or procedure_for(case, kinds) or reads_too_high(case):
        return usual_plan(case, wishes, seed, verdict)
    if _over(case, about):
        return usual_plan(case, wishes, seed, verdict)
    line, bathing = Timeline(case, seed), (case.sanitizer_quantity, Quantity.PH)
    line.add(kept_out(verdict, Reason("night-unused")))
    line.clean()
    _fed_up(line, case)
    if not _read_since(case, about) or any(step.kind is StepKind.DOSE for step in line.steps):
        line.test(bathing, Reason("night-evening"))
    evening = line.beside.expect(case.sanitizer_quantity)[0].median
    line.close()
    # what the tablets give off would hide what film takes
    fed = close_feeder(line, kit_of(case), "night-without-tablets", "gloves-goggles", "one-family-in-feeder")
    line.wait(60.0 * _NIGHT_HOURS, Reason("night-covered"), covered=True)
    line.test(bathing, _morning(case, evening, line.beside.expect(case.sanitizer_quantity)[0].median))
    back = (Reason("tablets-after-the-night"),) if fed else ()
    notes = (*_causes(case), *_bank(case), *back, *(Reason(kind, basis=purpose.basis) for kind in purpose.notes))
    return closed(line, verdict, purpose, notes, shopping(case, kit_of(case)))


def _read_since(case: Situation, about: About) -> bool:
    reading = case.last_valid(case.sanitizer_quantity)
    return about.since is not None and reading is not None and reading.at > about.since


def _over(case: Situation, about: About) -> bool:
    """The night is over and the morning was read."""
    night = timedelta(hours=_NIGHT_HOURS)
    return about.since is not None and case.now - about.since >= night and _read_since(case, about)


def _fed_up(line: Timeline, case: Situation) -> None:
    """The bank where it is thin, then the oxidizer to the upper aim."""
    kit, limits = kit_of(case), case.limits(case.sanitizer_quantity)
    bank, grams = bromide_to(case, kit), oxidizer_to(case, kit, limits.aim_high)
    if kit.oxidizer is None or (bank <= 0.0 and grams <= 0.0):
        return
    line.prepare()
    if bank > 0.0 and kit.bromide is not None:
        goal = defaults()["bank_target_mg"]
        reason = Reason("bromide-bank", {"value": goal.value}, goal.basis)
        line.dose(kit.bromide, bank, reason, Quantity.TOTAL_ALKALINITY, limits.bathing_high)
    why = Reason("night-from-the-top", {"value": limits.aim_high}, limits.basis)
    line.dose(kit.oxidizer, line.nearest(kit.oxidizer, grams), why, case.sanitizer_quantity, limits.bathing_high)
    if kit.oxidizer.substance == "monopersulfate":
        line.react(Reason("let-it-react"))


def _morning(case: Situation, evening: float, expected: float) -> Reason:
    values: dict[str, float | str] = {
        "quantity": str(case.sanitizer_quantity),
        "evening": evening,
        "expected": expected,
    }
    values |= {"film": (1.0 - _FILM) * evening, "bathers": (1.0 - _BATHERS) * evening}
    return Reason("night-tells", {**values, "much": _FILM, "little": _BATHERS}, _RANKED)


def _causes(case: Situation) -> tuple[Reason, ...]:
    ranking = rank(["sanitizer-never-holds"], water=water_evidence(case), most=_TOLD_CAUSES)
    return tuple(
        Reason("likely-cause", {"cause": cause.cause, "probability": cause.probability}, _RANKED)
        for cause in ranking.causes
    )


def _bank(case: Situation) -> tuple[Reason, ...]:
    """The bromide that is believed to be in, where it is a bromine tub."""
    if case.tub.sanitizer is not Sanitizer.BROMINE:
        return ()
    goal, bank = defaults()["bank_target_mg"].value, np.median(bromide_bank(case.state.water))
    kind = "bank-is-thin" if bank_is_thin(case) else "bank-is-there"
    return (Reason(kind, {"value": float(bank), "goal": goal}, defaults()["bank_target_mg"].basis),)
