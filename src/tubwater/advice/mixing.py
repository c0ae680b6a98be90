"""How long what was added takes to mix in this tub, and an oxidizer to work."""

from __future__ import annotations

import numpy as np

from tubwater.dynamics import Rates, TubState
from tubwater.facts import defaults, substances
from tubwater.tub import Product, Tub, as_kept

__all__ = ["mixing_factor", "mixing_minutes", "reaction_minutes"]


def mixing_factor(tub: Tub) -> float:
    """How much longer than the usual wait this tub needs to mix."""
    table, equipment = defaults(), tub.equipment
    if not equipment.pump:
        return table["mixing_factor_still"].value
    gentle = not equipment.water_jets or tub.litres > table["large_tub_litres"].value
    return table["mixing_factor_gentle"].value if gentle else 1.0


def mixing_minutes(tub: Tub, product: Product | None, factor: float = 1.0) -> float:
    """The wait after an addition, min; ``factor`` of the water as it is, which may be worse than the tub's own.

    A product that is no longer on the shelf (None) waits as most do.
    """
    own = substances()[product.substance].minutes if product else 0.0
    usual = max(own, defaults()["mix_minutes"].value)
    return as_kept(max(mixing_factor(tub), factor) * usual)


def reaction_minutes(state: TubState, rates: Rates) -> float:
    """Minutes until 94 of 100 parts of monopersulfate have reacted with this bank, cautiously; a day at most."""
    bromide = state.water.bromide + state.water.bromine
    rate = np.quantile(rates.monopersulfate_rate * np.maximum(bromide, 1e-7), 0.2)
    half_lives = defaults()["monopersulfate_window_half_lives"].value
    return float(min(half_lives * np.log(2.0) / rate / 60.0, 1440.0))
