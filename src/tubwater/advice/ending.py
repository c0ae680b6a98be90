"""How every plan ends: who may get in when, the standing dose after a soak, what is refused and what to buy."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np

from tubwater.advice.decide import Decision, Kit
from tubwater.advice.measures import amount_of, grams_floor
from tubwater.advice.mixing import mixing_factor
from tubwater.advice.now import Situation, others, substance_of
from tubwater.advice.rollout import Lived
from tubwater.advice.safety import cap_grams
from tubwater.facts import defaults, substances
from tubwater.facts.quantity import Quantity
from tubwater.tub import AfterSoak, Expectation, Outcome, Reason, Sanitizer

__all__ = ["after_soak", "fit_after_test", "left_out", "low_point", "not_in_time", "outcome_of", "runs_out", "shopping"]

_USES_PER_DAY = 6.0  # person-half-hours a day that the standing dose is meant for (judgement)
_LOW_FOR_LONG = 0.2  # of the hours until the next visit (judgement)
_HIGH_FOR_LONG = 0.1  # the same, for too much (judgement)
_NEEDED = {
    "acid": "sodium-bisulfate",
    "bicarbonate": "sodium-bicarbonate",
    "oxidizer": "monopersulfate",
    "tablet": "bcdmh",
}


def fit_after_test(case: Situation, at: datetime) -> Reason:
    """People may get in once a test from ``at`` on reads inside the bathing limits."""
    sanitizer, ph = case.limits(case.sanitizer_quantity), case.limits(Quantity.PH)
    values: dict[str, float | str] = {
        "time": at.isoformat(timespec="minutes"),
        "quantity": str(case.sanitizer_quantity),
        "low": sanitizer.bathing_low,
        "high": sanitizer.bathing_high,
        "ph_low": ph.bathing_low,
        "ph_high": ph.bathing_high,
    }
    return Reason("fit-after-test", values, sanitizer.basis)


def left_out(case: Situation) -> tuple[Reason, ...]:
    """Products in hand that this tub must not have."""
    return tuple(Reason(kind, {"product": product.name}) for product, kind in others(case.shelf, case.tub))


def after_soak(case: Situation, kit: Kit, decision: Decision, reaction: float) -> AfterSoak | None:
    """The standing part: what whoever soaked adds afterwards; ``reaction``: minutes that monopersulfate needs."""
    grams, product = decision.levers["after_soak"], kit.oxidizer
    if product is None or grams <= 0.0:
        return None
    mixed = defaults()["mix_minutes"].value * mixing_factor(case.tub)
    wait = max(reaction, mixed) if product.substance == "monopersulfate" else mixed
    most = min(cap_grams(product, float(np.median(case.rates.litres))), _USES_PER_DAY * grams)
    return AfterSoak(
        amount=amount_of(product, grams),
        wait_minutes=wait,
        daily_cap_grams=max(grams_floor(product, most), grams),
        reasons=(Reason("after-soak", {"quantity": str(case.sanitizer_quantity), "high": _not_above(case)}),),
        cautions=substance_of(product).cautions,
    )


def _not_above(case: Situation) -> float:
    """From this reading on the standing dose is left out: the caution of the guideline, or the upper aim."""
    limits = case.limits(case.sanitizer_quantity)
    return limits.caution[1] if limits.caution is not None else limits.aim_high


def shopping(case: Situation, kit: Kit) -> tuple[Reason, ...]:
    """What is missing from the shelf for an ordinary week."""
    bromine = case.tub.sanitizer is Sanitizer.BROMINE
    wanted = {**_NEEDED, "oxidizer": "monopersulfate" if bromine else "sodium-hypochlorite"}
    missing = [name for name in wanted if getattr(kit, name) is None and (name != "tablet" or bromine)]
    return tuple(Reason("buy", {"product": substances()[wanted[name]].name}) for name in missing)


def runs_out(case: Situation, lived: Lived, days: float) -> list[Reason]:
    """Says so where even the best plan leaves the sanitizer too low for long, or above what bathing allows."""
    limits, quantity = case.limits(case.sanitizer_quantity), str(case.sanitizer_quantity)
    low, high = float(lived.below.mean()), float(lived.above.mean())
    found = []
    if low >= _LOW_FOR_LONG:
        values: dict[str, float | str] = {"quantity": quantity, "share": low, "low": limits.keep_out_low}
        found.append(Reason("runs-low", values | _sooner(lived, days)))
    if high >= _HIGH_FOR_LONG:
        found.append(Reason("runs-high", {"quantity": quantity, "share": high, "high": limits.bathing_high}))
    return found


def _sooner(lived: Lived, days: float) -> dict[str, float | str]:
    """Whole days after which half of the believed tubs have been low, where that is before the visit."""
    fell = float(np.quantile(lived.first_below, 0.5, method="lower"))
    back = max(1.0, float(np.floor(fell / 24.0))) if np.isfinite(fell) else days
    return {"back": back} if back < days else {}


def low_point(case: Situation, decision: Decision) -> tuple[Expectation, ...]:
    """The sanitizer at its lowest before the next visit."""
    low, median, high = np.quantile(decision.lived.lowest, (0.05, 0.5, 0.95))
    return (Expectation(case.sanitizer_quantity, float(median), float(low), float(high)),)


def outcome_of(case: Situation, lived: Lived, without: Lived) -> Outcome:
    """Shares of hours with the plan and without it."""
    shares = {
        case.sanitizer_quantity: float(lived.sanitizer_in.mean()),
        Quantity.PH: float(lived.ph_in.mean()),
        Quantity.TOTAL_ALKALINITY: float(lived.alkalinity_in.mean()),
    }
    return Outcome(
        in_band=float(lived.in_band.mean()),
        in_band_without_plan=float(without.in_band.mean()),
        below_limit=float(lived.below.mean()),
        above_limit=float(lived.above.mean()),
        band_by_quantity=shares,
    )


def not_in_time(wanted: datetime | None, ready: datetime) -> tuple[Reason, ...]:
    """Says plainly that it cannot be ready."""
    if wanted is None or ready <= wanted:
        return ()
    late = (ready - wanted) / timedelta(hours=1)
    return (Reason("not-ready-in-time", {"time": ready.isoformat(timespec="minutes"), "hours": late}),)
