"""What the fill water is, and what can be done about water that is too hard."""

from __future__ import annotations

import numpy as np

from tubwater.advice.now import Situation
from tubwater.chemistry import KG_PER_LITRE, MG_PER_EQ_CACO3, equilibrate, water_at_ph
from tubwater.facts.quantity import Quantity
from tubwater.tub import Filled, Reason

__all__ = ["fill_reason", "is_hard", "is_known", "tap_notes"]

_HARD = 1.2  # times the upper aim of calcium; less is let be (judgement)
_SCALE = 0.3  # saturation index above which scale is likely on a hot heater (judgement)
_ROOM = 0.1  # of pH, that a keeper can hold (judgement)
_WELLS = ("well", "borehole", "spring")


def is_known(case: Situation, quantity: Quantity) -> bool:
    """Whether the fill water's own value was stated, or read since it was filled in."""
    fills = [e.at for e in case.belief.events if isinstance(e, Filled)]
    read = case.last_valid(quantity)
    return quantity in case.tub.fill.values or (read is not None and bool(fills) and read.at >= max(fills))


def is_hard(case: Situation) -> bool:
    """Whether the fill is known to hold clearly more calcium than the aim."""
    aim = case.limits(Quantity.CALCIUM_HARDNESS).aim_high
    return is_known(case, Quantity.CALCIUM_HARDNESS) and _hardness(case) > _HARD * aim


def fill_reason(case: Situation) -> Reason:
    """Why the hose is metered, or how far soft water would bring down hard water."""
    hardness, aim = _hardness(case), case.limits(Quantity.CALCIUM_HARDNESS).aim_high
    if not is_hard(case):
        return Reason("meter-the-fill")
    share = 1.0 - aim / hardness
    values: dict[str, float | str] = {
        "quantity": str(Quantity.CALCIUM_HARDNESS),
        "value": hardness,
        "high": aim,
        "share": share,
        "litres": round(share * case.tub.litres, -1),
    }
    return Reason("blend-fill", values, case.limits(Quantity.CALCIUM_HARDNESS).basis)


def tap_notes(case: Situation, filled: bool) -> tuple[Reason, ...]:
    """What a keeper has to know of this tap water."""
    found = [*_well(case), *_lasting(case)]
    if is_hard(case):
        found += [Reason("hard-fill-late" if filled else "softener-keeps-alkalinity", fill_reason(case).values)]
    return tuple(found)


def _hardness(case: Situation) -> float:
    return float(np.median(case.observer.read(Quantity.CALCIUM_HARDNESS)))


def _well(case: Situation) -> tuple[Reason, ...]:
    """Water from a well may carry iron and manganese, which an oxidizer turns brown and black."""
    words = case.tub.fill.source.lower().split()
    return (Reason("well-water"),) if any(word in words for word in _WELLS) else ()


def _lasting(case: Situation) -> tuple[Reason, ...]:
    """Says so where calcium stays high: how low alkalinity and pH have to stay, or that even that is not enough."""
    alkalinity, ph = case.limits(Quantity.TOTAL_ALKALINITY), case.limits(Quantity.PH)
    hardness = _hardness(case)
    if not is_hard(case):
        return ()
    index = _lowest_index(case, alkalinity.aim_low, ph.aim_low)
    room = min(_SCALE - index, 0.5 * (ph.aim_high - ph.aim_low))  # the index climbs as much as the pH does
    values: dict[str, float | str] = {
        "value": hardness,
        "alkalinity": alkalinity.aim_low,
        "ph": ph.aim_low,
        "ph_high": round(ph.aim_low + max(room, 0.0), 1),
        "index": index,
    }
    return (Reason("scale-stays-away" if room >= _ROOM else "no-plan-for-this-water", values),)


def _lowest_index(case: Situation, alkalinity: float, ph: float) -> float:
    """Saturation index of calcite at the lower ends of alkalinity and pH, as warm as the tub."""
    water = case.state.water.replaced(temperature=case.tub.temperature)
    eq = alkalinity / (1000.0 * MG_PER_EQ_CACO3 * KG_PER_LITRE)
    return float(np.median(equilibrate(water_at_ph(water, ph, eq)).si_calcite))
