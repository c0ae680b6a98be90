"""Part of the water is changed: so many litres, or as many as bring a metal down; and what people complain of."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np

from tubwater.advice.blend import metals_in_tap
from tubwater.advice.closing import closed, kept_out
from tubwater.advice.decide import kit_of
from tubwater.advice.drains import after_change, expected_after
from tubwater.advice.ending import fit_after_test
from tubwater.advice.heating import hose_minutes, reheat_minutes
from tubwater.advice.now import Situation
from tubwater.advice.plans import usual_plan
from tubwater.advice.stops import plan_stop
from tubwater.advice.timeline import Timeline
from tubwater.advice.wishes import About, Wishes
from tubwater.chemistry import INDEX, KG_PER_LITRE, bromide_bank
from tubwater.errors import InputError
from tubwater.facts import Basis, BasisKind, defaults
from tubwater.facts.purposes import Purpose
from tubwater.facts.quantity import Quantity
from tubwater.facts.situations import Procedure, Then
from tubwater.tub import Drained, Filled, Plan, Reason, Sanitizer, Step, StepKind, Verdict, VerdictKind

__all__ = ["plan_complaint", "plan_metals", "plan_part_change"]

_DILUTION = Basis(BasisKind.CALCULATION, (), "dilution by the tap's own water")
_MEASURED_DAYS = 1.0  # until somebody has the number of a metal, at the earliest (judgement)
_MOST = 0.9  # of the water; more is a change of all of it (judgement)


def plan_part_change(
    case: Situation, verdict: Verdict, wishes: Wishes, seed: int, purpose: Purpose, about: About
) -> Plan:
    """So many litres out and in, warm again, tested; what it took out and what has to go in again.

    Raises:
        InputError: more litres than a part of what the tub holds.
    """
    if _changed_since(case, about):
        return usual_plan(case, wishes, seed, verdict)
    litres, most = about.litres or 0.3 * case.tub.litres, _MOST * case.tub.litres
    if litres > most:
        raise InputError.one("litres", f"{litres:g} L", f"at most {most:.0f} L of this tub's {case.tub.litres:.0f} L")
    return _changed(case, verdict, seed, purpose, litres, ())


def plan_metals(case: Situation, verdict: Verdict, wishes: Wishes, seed: int, purpose: Purpose, about: About) -> Plan:
    """As many litres as bring the metal down; without a number of it, the test that gives one."""
    if _changed_since(case, about):
        return usual_plan(case, wishes, seed, verdict)
    tap, level = about.tap_metal or 0.0, defaults()["metal_shows_mg"]
    goal = level.value
    told = (*metals_in_tap(case, about), Reason("no-shock-on-metal", basis=purpose.basis))
    if about.metal is None or about.metal <= goal or tap >= goal:
        little = about.metal is not None and about.metal <= goal
        kind = "little-metal" if little else "tap-no-help" if tap >= goal else "measure-the-metal"
        reason = Reason(kind, {"value": about.metal or 0.0, "tap": tap, "goal": goal}, level.basis)
        plan = _looked_at(case, verdict, seed, purpose, (reason, *told))
        return plan if little else _shut_meanwhile(plan, case)
    share = min((about.metal - goal) / (about.metal - tap), _MOST)
    left = about.metal * (1.0 - share) + tap * share
    values: dict[str, float | str] = {"value": about.metal, "tap": tap, "then": left, "share": share}
    return _changed(
        case,
        verdict,
        seed,
        purpose,
        share * float(np.median(case.rates.litres)),
        (Reason("metal-goes", values, level.basis), *told),
    )


def plan_complaint(
    case: Situation, verdict: Verdict, wishes: Wishes, seed: int, purpose: Purpose, about: About
) -> Plan:
    """Fixed advice, no ranking: everybody out, water and filter kept, tested before anything goes in."""
    read = about.since is not None and any(r.at > about.since for r in case.readings(case.sanitizer_quantity))
    steps = tuple(deed for deed in purpose.steps if not (read and deed.do == StepKind.TEST))
    found = Procedure(purpose.key, frozenset(), Then.STOP, steps, purpose.basis, again_hours=24.0, notes=purpose.notes)
    plan = plan_stop(case, verdict, seed, found)
    first = replace(plan.steps[0], reasons=(Reason("people-complain"), *plan.steps[0].reasons))
    return replace(plan, steps=(first, *plan.steps[1:]), fit_when=(Reason("settle-first"), *plan.fit_when))


def _changed_since(case: Situation, about: About) -> bool:
    """What was asked for was done."""
    since = about.since
    return since is not None and any(isinstance(e, Drained | Filled) and e.at >= since for e in case.belief.events)


def _changed(
    case: Situation, verdict: Verdict, seed: int, purpose: Purpose, litres: float, told: tuple[Reason, ...]
) -> Plan:
    litres = max(round(litres / 10.0) * 10.0, 10.0)
    line, then = Timeline(case, seed), after_change(case, litres)
    line.add(kept_out(verdict, Reason("nobody-in-meanwhile")))
    off, full = ("electric-off", "power-when-full") if case.tub.equipment.pump else ("fire-out", "fire-when-full")
    share, minutes = litres / float(np.median(case.rates.litres)), hose_minutes(litres)
    why = Reason("part-goes", {"share": min(share, 1.0), "litres": litres}, _DILUTION)
    line.add(
        Step(StepKind.DRAIN, minutes=minutes, litres=litres, reasons=(why,), cautions=(off, "drain-where-allowed"))
    )
    line.add(
        Step(
            StepKind.FILL,
            minutes=minutes,
            litres=litres,
            expected=expected_after(then),
            reasons=(Reason("on-again-when-full"),),
            cautions=(full,),
            partial=True,
        )
    )
    heating = reheat_minutes(case.tub, litres)
    if heating > 0.0:
        line.add(Step(StepKind.HEAT, minutes=heating, reasons=(Reason("warm-before-dosing"),)))
    after = Timeline(then, seed)
    line.beside = after.beside
    bathing = (case.sanitizer_quantity, Quantity.PH, Quantity.TOTAL_ALKALINITY, Quantity.CALCIUM_HARDNESS)
    line.test(bathing, Reason("plan-by-this"))
    return closed(line, verdict, purpose, _told((*told, *_bank_again(case, share)), purpose))


def _looked_at(case: Situation, verdict: Verdict, seed: int, purpose: Purpose, told: tuple[Reason, ...]) -> Plan:
    line = Timeline(case, seed)
    line.add(kept_out(verdict, Reason("nobody-in-meanwhile")))
    line.add(Step(StepKind.CHECK, minutes=5.0, reasons=(Reason("metal-tells"),), task="sample-for-metal"))
    line.test((case.sanitizer_quantity, Quantity.PH), Reason("acid-water-dissolves"))
    return closed(line, verdict, purpose, _told(told, purpose))


def _shut_meanwhile(plan: Plan, case: Situation) -> Plan:
    """While metal is in, nothing goes in: water that is not fit now is not made fit by waiting for a test."""
    if plan.verdict.kind is VerdictKind.FIT:
        return plan
    later = case.now + timedelta(days=_MEASURED_DAYS)
    return replace(plan, fit_when=(Reason("metal-first"), fit_after_test(case, later)), next_visit=later)


def _told(told: tuple[Reason, ...], purpose: Purpose) -> tuple[Reason, ...]:
    return (*told, *(Reason(kind, basis=purpose.basis) for kind in purpose.notes))


def _bank_again(case: Situation, share: float) -> tuple[Reason, ...]:
    """Bromide that went with the water, as sodium bromide."""
    product = kit_of(case).bromide
    if case.tub.sanitizer is not Sanitizer.BROMINE or product is None:
        return ()
    water, per_gram = case.state.water, case.products.compositions[product.name].per_gram[INDEX["bromide"]]
    bank = float(np.median((water.bromide + water.bromine) * KG_PER_LITRE * case.rates.litres))
    grams = share * bank / float(per_gram)
    lost = share * float(np.median(bromide_bank(water)))
    return (Reason("bank-again", {"value": lost, "grams": grams, "product": product.name}, _DILUTION),)
