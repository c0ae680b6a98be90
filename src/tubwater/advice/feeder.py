"""The feeder: how many tablets, and how far open."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np

from tubwater.advice.decide import Decision, Kit
from tubwater.advice.measures import amount_of
from tubwater.advice.now import Situation, substance_of
from tubwater.advice.timeline import Timeline
from tubwater.belief import Observer, fed
from tubwater.dynamics import Mode, TubState, advance
from tubwater.tub import FeederSet, Product, Reason, Step, StepKind

__all__ = ["Setting", "close_feeder", "fresh_feeder", "held_others", "just_set", "set_feeder", "setting_for"]

_UNUSED_HOURS = 24.0  # covered, with nobody in: the next day at the latest somebody looks (judgement)
_JUST_SET = timedelta(hours=12)  # in which no tablet gets noticeably smaller (judgement)
_OPENINGS = (1.0, 0.75, 0.5, 0.25)


@dataclass(frozen=True)
class Setting:
    """Tablets in all, and how far open, 0 to 1."""

    tablets: int
    opening: float


def set_feeder(line: Timeline, kit: Kit, decision: Decision) -> None:
    """Writes the feeder's setting down, once the last addition has mixed; from then on it feeds. What was just set so
    stays as it is, without a step."""
    tablet = kit.tablet
    if tablet is None:
        return
    line.settle()
    setting = setting_for(line, kit, decision)
    if _is_so(line, kit, setting):
        return
    if setting.tablets and held_others(line.case, tablet):
        for step in fresh_feeder():
            line.add(step)
    reasons = (Reason("feeder-holds", _in_it(line, kit, setting)),)
    amount = amount_of(tablet, setting.tablets * kit.tablet_grams)
    step = Step(
        StepKind.SET_FEEDER,
        amount=replace(amount, count=float(setting.tablets), measure="tablet"),
        minutes=3.0,
        tablets=float(setting.tablets),
        opening=setting.opening if setting.tablets else 0.0,
        reasons=reasons,
        cautions=substance_of(tablet).cautions,
    )
    line.add(step)
    line.beside.state = _fed(line.beside.state, kit, setting)


def _is_so(line: Timeline, kit: Kit, setting: Setting) -> bool:
    """Whether the feeder was set so with these tablets just before, and holds them still."""
    last = just_set(line.case)
    if last is None or kit.tablet is None or last.product != kit.tablet.name or _left(line, kit) != setting.tablets:
        return False
    return (last.tablets, last.opening) == (setting.tablets, setting.opening)


def just_set(case: Situation) -> FeederSet | None:
    """How the feeder was set last, where that was so short ago that no tablet got noticeably smaller."""
    last = max(_sets(case), key=lambda e: e.at, default=None)
    return last if last and case.now - last.at < _JUST_SET else None


def _sets(case: Situation) -> list[FeederSet]:
    return [e for e in case.belief.events if isinstance(e, FeederSet) and e.at <= case.now]


def _left(line: Timeline, kit: Kit) -> int:
    """Tablets believed in the feeder, at the middle."""
    return round(float(np.median(line.beside.state.tablet_grams)) / kit.tablet_grams)


def held_others(case: Situation, tablet: Product) -> bool:
    """Whether tablets of another family were the last in the feeder: what is left of them may burst with these."""
    named = {product.name: substance_of(product).family for product in case.shelf.products}
    last = max((e for e in _sets(case) if e.tablets > 0.0), key=lambda e: e.at, default=None)
    return last is not None and named.get(last.product, "") not in ("", substance_of(tablet).family)


def fresh_feeder(by: str = "") -> tuple[Step, ...]:
    """The other tablets come out of the water in their own feeder, and these get one that never held anything else."""
    reason, cautions = Reason("feeder-holds-the-old"), ("gloves-goggles", "one-family-in-feeder")
    out = Step(StepKind.CHECK, minutes=3.0, reasons=(reason,), cautions=cautions, task="stop-feeding", by=by)
    return out, replace(out, minutes=2.0, task="fresh-feeder")


def close_feeder(line: Timeline, kit: Kit, why: str, *cautions: str) -> bool:
    """Writes down that no tablet feeds from now on; whether there are tablets at all."""
    if kit.tablet is None:
        return False
    none = replace(amount_of(kit.tablet, 0.0), measure="tablet")
    line.add(Step(StepKind.SET_FEEDER, amount=none, minutes=3.0, reasons=(Reason(why),), cautions=cautions))
    line.stop_feeding()
    return True


def setting_for(line: Timeline, kit: Kit, decision: Decision) -> Setting:
    """What the decision asks for, or what is weaker, for the water as it now is."""
    wanted = Setting(round(decision.levers["tablet_grams"] / kit.tablet_grams), decision.levers["opening"])
    return _not_too_strong(line, kit, wanted)


def _fed(state: TubState, kit: Kit, setting: Setting) -> TubState:
    return fed(state, float(setting.tablets), setting.opening, kit.tablet_grams)


def _not_too_strong(line: Timeline, kit: Kit, wanted: Setting) -> Setting:
    """The wanted setting, or the strongest weaker one that does not take an unused tub above the bathing maximum."""
    limits = line.case.limits(line.case.sanitizer_quantity)
    for setting in _weaker(wanted):
        if setting.tablets == 0 or _unused(line, kit, setting) <= limits.bathing_high:
            return setting
    return Setting(0, 0.0)


def _weaker(wanted: Setting) -> list[Setting]:
    """The wanted setting and what releases less, the strongest first."""
    counts = range(1, wanted.tablets + 1)
    found = [Setting(n, o) for n in counts for o in _OPENINGS if n * o < wanted.tablets * wanted.opening]
    found.sort(key=lambda s: (-s.tablets * s.opening, -s.tablets))
    return [wanted, *found, Setting(0, 0.0)]


def _unused(line: Timeline, kit: Kit, setting: Setting) -> float:
    """The middle of the believed sanitizer after a covered day without anybody in, with all oxidizer reacted, mg/L."""
    state = _fed(line.beside.state, kit, setting)
    later = advance(state, line.beside.rates, _UNUSED_HOURS, Mode.COVERED, line.case.products.tablet)
    observer = Observer(later)
    return float(np.median(observer.read(line.case.sanitizer_quantity) + observer.monopersulfate))


def _in_it(line: Timeline, kit: Kit, setting: Setting) -> dict[str, float | str]:
    """How many tablets are believed left, and so how many go in or come out; nothing where no feeder was noted."""
    if not _sets(line.case) or (kit.tablet is not None and held_others(line.case, kit.tablet)):
        return {}
    left = _left(line, kit)
    more = setting.tablets - left
    return {"left": float(left), "add" if more >= 0 else "out": float(abs(more))}
