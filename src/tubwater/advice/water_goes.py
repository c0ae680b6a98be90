"""Plans in which all of the water goes: the change of sanitizer, a first fill, worn-out water, winter, the end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np

from tubwater.advice.attended import be_there
from tubwater.advice.blend import Blend, blended
from tubwater.advice.closing import kept_out, out_because
from tubwater.advice.ending import fit_after_test, left_out
from tubwater.advice.fresh import plan_fresh
from tubwater.advice.ledger import ledger_of
from tubwater.advice.neutral import neutralised
from tubwater.advice.now import Situation, substance_of
from tubwater.advice.procedure import applies, left_of, written
from tubwater.advice.rinse import rinsing, told_rinse
from tubwater.advice.wishes import About, Wishes
from tubwater.facts import substances
from tubwater.facts.purposes import Purpose
from tubwater.facts.situations import Procedure, Then
from tubwater.tub import Drained, Plan, Reason, Sanitizer, Step, StepKind, Verdict

__all__ = ["plan_emptied", "plan_renewed"]

_SOON = 1.0  # d, after which somebody looks whether all is dry
_MOVES = (StepKind.FILL, StepKind.DRAIN)
_BUCKET_MINUTES = 65.0  # an hour in which the metal shows
_WHOLE = 0.9  # of the water out is all of it (judgement)


def plan_renewed(case: Situation, verdict: Verdict, wishes: Wishes, seed: int, purpose: Purpose, about: About) -> Plan:
    """The water goes as the purpose says, and fresh water is started, kept with another sanitizer where it says so."""
    first, notes, shopping = _first(case, purpose, about, seed)
    blend = blended(_as_kept_then(case, purpose), about)
    situation = purpose.key if first else "fresh-fill"  # nothing left to do before it: the fill may have been made
    bucket = _bucket(blend)
    plan = plan_fresh(blend.case, verdict, wishes, seed, first=(*first, *bucket), situation=situation)
    steps = (replace(plan.steps[0], reasons=(*out_because(verdict), *plan.steps[0].reasons)), *plan.steps[1:])
    return replace(
        plan,
        situation=purpose.key,
        steps=tuple(_filled_with(steps, blend)),
        notes=(*notes, *_only_told(blend.notes, bucket), *_not_twice(plan.notes, blend)),
        shopping=(*_used(plan.shopping, purpose), *shopping),
    )


def plan_emptied(case: Situation, verdict: Verdict, wishes: Wishes, seed: int, purpose: Purpose, about: About) -> Plan:
    """The water goes and the tub stays empty; what starts it again is another plan."""
    first, notes, shopping = _first(case, purpose, about, seed)
    steps = _in_turn((kept_out(verdict, Reason("stays-empty")), *first))
    done = case.now + timedelta(minutes=steps[-1].starts_at + steps[-1].minutes)
    usual = purpose.asks["days"].usual if "days" in purpose.asks else None
    back = done if purpose.ends else done + timedelta(days=about.days or usual or _SOON)
    return Plan(
        begins=case.now,
        situation=purpose.key,
        verdict=verdict,
        steps=steps,
        after_soak=None,
        end=(),
        low_point=(),
        fit_when=(Reason("given-away"),) if purpose.ends else (Reason("start-it-again"), fit_after_test(case, back)),
        next_visit=back,
        outcome=None,
        notes=(*notes, *be_there(steps, case.tub.equipment, case.now)),
        shopping=shopping,
        refused=left_out(case),
        seed=seed,
        ensemble=case.belief.size,
    )


def _first(
    case: Situation, purpose: Purpose, about: About, seed: int
) -> tuple[tuple[Step, ...], tuple[Reason, ...], tuple[Reason, ...]]:
    """What is left of the purpose's own steps, with what is told and has to be bought for them."""
    rinse = rinsing(case, purpose)
    mine = tuple(
        deed for deed in (*purpose.steps, *rinse.deeds) if applies(case, deed)
    )  # rinses: shell and filter clean
    deeds = left_of(case, mine, about.since or _begun(case, purpose))
    bare = Procedure(purpose.key, frozenset(), Then.FRESH, deeds, purpose.basis, notes=purpose.notes)
    told = written(case, bare, deeds, seed)
    steps = tuple(told_rinse(step, rinse) for step in told.steps)
    buy = (Step(StepKind.BUY, reasons=(Reason("buy-before-it-begins"),)),) if told.shopping else ()
    return (*buy, *steps), (*_why_now(case, purpose), *neutralised(case, steps), *told.notes), told.shopping


def _begun(case: Situation, purpose: Purpose) -> datetime:
    """Where nobody said when it was begun: with the drain that left the tub empty, or now."""
    if next((deed.do for deed in purpose.steps if deed.do in _MOVES), "") == StepKind.FILL:
        return case.now
    out = [e.at for e in case.belief.events if isinstance(e, Drained) and e.litres >= _WHOLE * case.tub.litres]
    return max(out) if case.empty and out else case.now


def _as_kept_then(case: Situation, purpose: Purpose) -> Situation:
    """The case with the sanitizer that the fresh water is kept with, and without the products that are not used."""
    tub = replace(case.tub, sanitizer=Sanitizer(purpose.becomes)) if purpose.becomes else case.tub
    kept = tuple(p for p in case.shelf.products if not substance_of(p).roles & purpose.drop)
    return replace(case, tub=tub, shelf=replace(case.shelf, products=kept))


def _why_now(case: Situation, purpose: Purpose) -> tuple[Reason, ...]:
    """For water that is worn out: which rule says so, and when."""
    if "worn-out" not in purpose.notes or case.empty:
        return ()
    by = ledger_of(case).drain_by
    if by is None or by.due is None:
        return ()
    used = {"used": by.used} if by.used is not None else {}
    return (by.reason, Reason("drain-is-due", {"time": by.due.isoformat(timespec="minutes"), **used}, by.rule.basis))


def _used(shopping: Sequence[Reason], purpose: Purpose) -> tuple[Reason, ...]:
    """Without what the purpose does not use."""
    left = {one.name for one in substances().values() if one.roles & purpose.drop}
    return tuple(reason for reason in shopping if reason.values.get("product") not in left)


def _filled_with(steps: Sequence[Step], blend: Blend) -> list[Step]:
    """The fill that stays says what it is blended of."""
    last = max((n for n, s in enumerate(steps) if s.kind is StepKind.FILL), default=-1)
    return [replace(s, reasons=blend.reasons) if n == last and blend.reasons else s for n, s in enumerate(steps)]


def _bucket(blend: Blend) -> tuple[Step, ...]:
    """The look at metal in a bucket, before this water is filled in or anything goes into it."""
    told = {note.kind: note for note in blend.notes}
    if not {"metal-in-the-tap", "bucket-test"} <= set(told):
        return ()
    return (Step(StepKind.CHECK, minutes=_BUCKET_MINUTES, reasons=(told["bucket-test"],), task="bucket-first"),)


def _only_told(notes: Sequence[Reason], steps: Sequence[Step]) -> tuple[Reason, ...]:
    """Without what a step says already."""
    return tuple(note for note in notes if not any(note in step.reasons for step in steps))


def _not_twice(notes: Sequence[Reason], blend: Blend) -> tuple[Reason, ...]:
    """Without the advice to test well water in a bucket, where the blend gives it with its amount."""
    told = any(note.kind == "bucket-test" for note in blend.notes)
    return tuple(note for note in notes if not (told and note.kind == "well-water"))


def _in_turn(steps: Sequence[Step]) -> tuple[Step, ...]:
    starts = np.cumsum([0.0, *(step.minutes for step in steps)])
    return tuple(replace(step, starts_at=float(at)) for step, at in zip(steps, starts, strict=False))
