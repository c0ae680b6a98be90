"""A fill blended of tap water and soft water, to the calcium that it is meant to hold.

The soft water is taken for tap water without most of its salts (reverse osmosis, rain): then the blend is the tap's
water thinned, and its alkalinity goes down with its calcium (mixing is linear in the totals, a calculation).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tubwater.advice.decide import kit_of
from tubwater.advice.drains import with_fill_water
from tubwater.advice.now import Situation
from tubwater.advice.wishes import About
from tubwater.chemistry import Water
from tubwater.facts import Basis, BasisKind, defaults
from tubwater.facts.quantity import Quantity
from tubwater.tub import Reason

__all__ = ["Blend", "blended", "metals_in_tap"]

_BUCKET_LITRES, _BUCKET_MG = 10.0, 10.0  # in which so much oxidizer, mg/L, shows metals (judgement)
_MIXED = Basis(BasisKind.CALCULATION, (), "mixing is linear in calcium")
_PLACE = 0.2  # within the aim (judgement, as for calcium that is added)


@dataclass(frozen=True, eq=False)
class Blend:
    """The case with the blended fill water, why the fill is blended, and what else is told."""

    case: Situation
    reasons: tuple[Reason, ...] = ()
    notes: tuple[Reason, ...] = ()


def blended(case: Situation, about: About) -> Blend:
    """The fill as it is asked for; the tap alone where no soft water was named or the tap is soft enough."""
    notes = metals_in_tap(case, about)
    if about.soft is None and about.target is None:
        return Blend(case, notes=notes)
    fresh = with_fill_water(case)
    tap = float(np.median(fresh.observer.read(Quantity.CALCIUM_HARDNESS)))
    soft, goal = about.soft or 0.0, about.target or _usual_goal(case)
    if tap <= goal or soft >= goal:
        values: dict[str, float | str] = {"value": tap, "soft": soft, "goal": goal}
        return Blend(case, notes=(Reason("no-blend", values, _MIXED), *notes))
    return _of(case, tap, soft, goal, notes)


def _of(case: Situation, tap: float, soft: float, goal: float, notes: tuple[Reason, ...]) -> Blend:
    share = (tap - goal) / (tap - soft)
    litres = round(share * case.tub.litres, -1)
    values: dict[str, float | str] = {
        "value": tap,
        "soft": soft,
        "goal": goal,
        "litres": litres,
        "rest": case.tub.litres - litres,
    }
    thinned = _thinned(case, goal / tap)
    return Blend(thinned, (Reason("blend-as-asked", values, _MIXED),), (Reason("softener-is-no-soft-water"), *notes))


def _usual_goal(case: Situation) -> float:
    limits = case.limits(Quantity.CALCIUM_HARDNESS)
    return limits.aim_low + _PLACE * (limits.aim_high - limits.aim_low)


def _thinned(case: Situation, share: float) -> Situation:
    """The case whose fill water holds so much of what the tap holds; what was stated of the tap is thinned as well."""
    fill = case.rates.fill
    rates = replace(case.rates, fill=Water(fill.temperature, share * fill.totals))
    found = replace(case, belief=replace(case.belief, rates=rates))
    read, stated = with_fill_water(found).observer, case.tub.fill.values
    known = {q: v if q is Quantity.TEMPERATURE else float(np.median(read.read(q))) for q, v in stated.items()}
    return replace(found, tub=replace(case.tub, fill=replace(case.tub.fill, values=known)))


def metals_in_tap(case: Situation, about: About) -> tuple[Reason, ...]:
    """What metal in the tap would do, and the test in a bucket with the oxidizer in hand."""
    if not about.tap_metal:
        return ()
    values: dict[str, float | str] = {"value": about.tap_metal, "grams": about.tap_metal * case.tub.litres / 1000.0}
    shows = defaults()["metal_shows_mg"]
    kind = "metal-in-the-tap" if about.tap_metal >= shows.value else "little-metal-in-the-tap"
    return (Reason(kind, values, shows.basis), *_bucket(case))


def _bucket(case: Situation) -> tuple[Reason, ...]:
    product = kit_of(case).oxidizer
    if product is None:
        return ()
    oxidant = case.products.compositions[product.name].oxidant * case.grams_per_mol
    grams = _BUCKET_MG * _BUCKET_LITRES / 1000.0 / oxidant
    values: dict[str, float | str] = {"litres": _BUCKET_LITRES, "product": product.name, "grams": grams}
    return (Reason("bucket-test", values, Basis(BasisKind.COMMON_PRACTICE)),)
