"""Rules of the water that a plan predicts, on the replayed steps."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from advice.judged import (
    BALANCE,
    DECLARED,
    MEASURED,
    MEMBERS,
    PH_SLACK,
    SCALE_SLACK,
    Answered,
    Look,
    tails,
)
from tubwater.facts import substances
from tubwater.facts.quantity import Quantity
from tubwater.tub import Step, StepKind

__all__ = [
    "a_plan_ends_inside_ph_where_the_test_allows_it",
    "a_step_expects_what_the_water_will_read",
    "no_air_takes_the_water_out_of_its_limits",
    "no_dose_and_no_drain_takes_calcite_above_its_limit",
    "no_dose_takes_ph_out_of_its_limits",
    "no_dose_takes_the_oxidant_far_above_a_shock",
    "no_dose_takes_the_sanitizer_too_high_undeclared",
    "no_drain_takes_ph_out_of_its_limits",
    "no_feeder_takes_the_sanitizer_too_high",
    "no_wait_takes_the_water_out_of_its_limits",
    "what_stood_for_hours_is_tested_before_it_is_balanced",
]

_SHOCKS = frozenset({"shock-it", "recover-sanitizer", "rest-of-shock"})
_LONG = 120.0  # min under the cover, from which the water may have drifted (judgement)


def _steps(a: Answered, *kinds: StepKind) -> list[tuple[Look, Look]]:
    """Before and after each step of these kinds; a drain counts where a part of the water stays."""
    found = [pair for pair in a.replayed[:-1] if pair[1].step is not None and pair[1].step.kind in kinds]
    return [pair for pair in found if pair[1].step is not None and pair[1].step.litres < 0.8 * a.drawn.tub.litres]


def _between(a: Answered) -> list[tuple[list[Step], Look, Look]]:
    """The steps from each addition to the next in the same water, and the waters just after the one and before the
    other."""
    at, found = [id(s) for s in a.plan.steps], []
    for (_, done), (before, then) in pairwise(a.replayed[:-1]):
        steps = list(a.plan.steps[at.index(id(done.step)) + 1 : at.index(id(then.step))])
        if not _refilled(then):
            found.append((steps, done, before))
    return found


def _refilled(look: Look) -> bool:
    return look.step is not None and look.step.kind is StepKind.DRAIN


def _ph_stays(pairs: list[tuple[Look, Look]], slack: float = PH_SLACK) -> bool:
    for before, after in pairs:
        (low, high), (low_before, high_before) = tails(after.ph), tails(before.ph)
        noise = MEASURED * abs(float(np.median(after.ph) - np.median(before.ph)))
        assert low >= min(6.8, low_before) - slack - noise
        assert high <= max(8.2, high_before) + slack + noise
    return bool(pairs)


def _calcite_stays(pairs: list[tuple[Look, Look]], slack: float = SCALE_SLACK) -> bool:
    for before, after in pairs:
        noise = MEASURED * abs(float(np.median(after.calcite) - np.median(before.calcite)))
        assert tails(after.calcite)[1] <= max(0.6, tails(before.calcite)[1]) + slack + noise
    return bool(pairs)


def no_dose_takes_ph_out_of_its_limits(a: Answered) -> bool:
    return _ph_stays(_steps(a, StepKind.DOSE))


def no_drain_takes_ph_out_of_its_limits(a: Answered) -> bool:
    return _ph_stays(_steps(a, StepKind.DRAIN))


def no_dose_and_no_drain_takes_calcite_above_its_limit(a: Answered) -> bool:
    """Of water from a tap that nobody has tested, the middle is judged: its tails are as wide as waters are."""
    tested = bool(a.drawn.tub.fill.values)
    doses = _steps(a, StepKind.DOSE, *([StepKind.DRAIN] if tested else []))
    drains = [] if tested else _steps(a, StepKind.DRAIN)
    for before, after in drains:
        assert np.median(after.calcite) <= max(0.6, float(np.median(before.calcite))) + SCALE_SLACK
    return _calcite_stays(doses) or bool(drains)


def no_wait_takes_the_water_out_of_its_limits(a: Answered) -> bool:
    """The cover is off and the pumps run: what leaves is carbon dioxide. A tenth of a pH is what an hour may do.

    Hours under the cover end in a test, and air has limits of its own: rules by themselves.
    """
    waits = [(b, c) for steps, b, c in _between(a) if not any(_passes_hours(s) or _airs(s) for s in steps)]
    return _ph_stays(waits, 0.1) and _calcite_stays(waits, 0.1)


def no_air_takes_the_water_out_of_its_limits(a: Answered) -> bool:
    """Air after acid brings pH and saturation back, never beyond the limits or where the water came from."""
    ph, scale, judged = 8.2, 0.6, False
    for steps, done, after in _between(a):
        came = next(before for before, same in a.replayed if same is done)
        ph, scale = max(ph, tails(came.ph)[1]), max(scale, tails(came.calcite)[1])
        if any(map(_airs, steps)) and not any(map(_passes_hours, steps)):
            judged = True
            assert tails(after.ph)[1] <= ph + 0.1
            assert tails(after.calcite)[1] <= scale + 0.1
    return judged


def _airs(step: Step) -> bool:
    return step.kind is StepKind.AERATE


def what_stood_for_hours_is_tested_before_it_is_balanced(a: Answered) -> bool:
    """Filled or heated, or under the cover for a while: a test of pH comes before acid, bicarbonate and soda ash; what
    a whole fill of known tap water is needs none."""
    stood, judged = False, False
    tap = {Quantity.PH, Quantity.TOTAL_ALKALINITY} <= set(a.drawn.tub.fill.values)
    for step in a.plan.steps:
        if step.kind is StepKind.FILL and not step.partial:
            stood = not tap
        elif _passes_hours(step):
            stood = True
        elif step.kind is StepKind.TEST and Quantity.PH in step.quantities:
            stood = False
        elif step.kind is StepKind.DOSE and step.part <= 1 and _balances(a, step):
            judged = True
            assert not stood
    return judged


def _balances(a: Answered, step: Step) -> bool:
    return bool(BALANCE & substances()[a.product(step).substance].roles)


def _passes_hours(step: Step) -> bool:
    """Filled, heated, or left under the cover for longer than an addition needs."""
    return step.kind in (StepKind.FILL, StepKind.HEAT) or (step.covered and step.minutes > _LONG)


def _oxidizes(a: Answered, look: Look) -> bool:
    step = look.step
    return step is not None and step.kind is StepKind.DOSE and a.composition(a.product(step)).oxidant > 0.0


def no_dose_takes_the_sanitizer_too_high_undeclared(a: Answered) -> bool:
    """Above the bathing maximum only as a declared recovery or shock that ends in keep out until tested."""
    top = max(a.case.guideline.limits[a.sanitizer].bathing_high, tails(a.replayed[-1][0].oxidant)[1])
    oxidized = [after for _, after in a.replayed[:-1] if _oxidizes(a, after)]
    for look in oxidized:
        if look.step is not None and tails(look.sanitizer)[1] > top * 1.03:
            assert {r.kind for r in look.step.reasons} & DECLARED
            assert any(r.kind == "fit-after-test" for r in a.plan.fit_when)
    return bool(oxidized)


def _let_out_again(a: Answered, look: Look) -> bool:
    """A fill that only disinfects pipes and shell: nobody gets in, and all of it goes before any bromide goes in."""
    if look.step is None or "disinfect-fill" not in {r.kind for r in look.step.reasons}:
        return False
    rest = a.plan.steps[a.plan.steps.index(look.step) + 1 :]
    goes = next(n for n, s in enumerate(rest) if s.kind is StepKind.DRAIN and s.litres >= 0.9 * a.drawn.tub.litres)
    assert not any(s.amount and "brom" in s.amount.substance for s in rest[:goes])
    return True


def no_dose_takes_the_oxidant_far_above_a_shock(a: Answered) -> bool:
    """Nineteen of twenty waters stay below 1.3 times the shock level once all has reacted, those of a declared
    recovery below what bleaches the colour of a test."""
    usual, begin = 1.3 * max(a.case.guideline.limits[a.sanitizer].bathing_high, 10.0), tails(a.replayed[-1][0].oxidant)
    oxidized = [after for _, after in a.replayed[:-1] if _oxidizes(a, after) and not _let_out_again(a, after)]
    for look in oxidized:
        kinds = {r.kind for r in look.step.reasons} if look.step is not None else set()
        most = max(usual, 18.0) if kinds & {"recover-sanitizer", "rest-of-shock", "shock-it"} else usual
        assert tails(look.oxidant)[1] <= max(most, begin[1]) * 1.1
    return bool(oxidized)


def no_feeder_takes_the_sanitizer_too_high(a: Answered) -> bool:
    """By the end of the plan half of the waters are at most at the bathing maximum, or where doses took them."""
    fed = any(s.kind is StepKind.SET_FEEDER and s.tablets > 0.0 for s in a.plan.steps)
    if fed:
        top = a.case.guideline.limits[a.sanitizer].bathing_high
        before = [float(np.median(look.oxidant)) for pair in a.replayed[:-1] for look in pair]
        assert float(np.median(a.replayed[-1][1].sanitizer)) <= max(top, *before) * 1.1
    return fed


def a_plan_ends_inside_ph_where_the_test_allows_it(a: Answered) -> bool:
    """What was sure of pH 7.0-8.0 stays so, and what was not gets no less sure; but for an oxidizer that only makes up
    for what is missing to the aim, brings a lost sanitizer back (a declared recovery, which ends in keep out until
    tested), or burns what makes water murky, since each is worse than a pH somewhat out: nothing else pushes that way.
    What is handed over to somebody is not in the replay, and is not judged here."""
    begin, end = a.replayed[-1]
    looks = ((begin, 0.0), (end, 0.02))  # what no test could show is no difference
    sure = [float(np.mean((look.ph >= 7.0 - slack) & (look.ph <= 8.0 + slack))) for look, slack in looks]
    filled = any(s.kind is StepKind.FILL for s in a.plan.steps)
    limits = a.case.guideline.limits[a.sanitizer]
    shocked = any(r.kind in _SHOCKS for s in a.doses for r in s.reasons)
    needed = _only_the_oxidizer_pushes(a) and (shocked or float(np.median(end.sanitizer)) <= limits.aim_high)
    handed = any(s.kind is StepKind.HAND_OVER and s.amount for s in a.plan.steps)
    judged = bool(a.doses) and not (filled or needed or handed or _leaves_it_to_a_test(a))
    if judged:
        assert sure[1] >= min(0.95, sure[0]) - 2.0 / MEMBERS
    return judged


def _only_the_oxidizer_pushes(a: Answered) -> bool:
    """Every other addition moves the pH the other way, or not at all."""
    doses = [a.composition(a.product(step)) for step in a.doses]
    ways = {float(np.sign(round(dose.alkalinity, 4))) for dose in doses if dose.oxidant > 0.0}
    return bool(ways) and all(float(np.sign(round(d.alkalinity, 4))) not in ways for d in doses if d.oxidant <= 0.0)


def _leaves_it_to_a_test(a: Answered) -> bool:
    """The last word is a test of pH: what is then read is balanced by the plan after it."""
    last = [
        s for s in a.plan.steps if s.kind is StepKind.DOSE or (s.kind is StepKind.TEST and Quantity.PH in s.quantities)
    ]
    return bool(last) and last[-1].kind is StepKind.TEST


def a_step_expects_what_the_water_will_read(a: Answered) -> bool:
    judged = False
    for _, after in a.replayed[:-1]:
        slow = after.step is not None and "monopersulfate" in str(after.step.amount)  # tells what it reads once reacted
        for told in after.step.expected if after.step is not None and after.step.kind is StepKind.DOSE else ():
            assert told.low <= told.median <= told.high
            if told.quantity is Quantity.PH and not slow:
                judged = True
                # Dose errors are drawn anew: four standard errors of the middle of 64 are 0.19 of the 90 % width.
                assert abs(told.median - float(np.median(after.ph))) <= max(0.1, 0.19 * (told.high - told.low))
    return judged
