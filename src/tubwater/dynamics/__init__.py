"""How the water changes with time: feeder, demand, decay, gas exchange, bathers, top-up."""

from tubwater.dynamics.rates import GRAMS_BR2_PER_MOL, Mode, Rates
from tubwater.dynamics.step import FULL_TABLET_GRAMS, TubState, advance, alkalinity_of, refill, soak, top_up, ventilate

__all__ = [
    "FULL_TABLET_GRAMS",
    "GRAMS_BR2_PER_MOL",
    "Mode",
    "Rates",
    "TubState",
    "advance",
    "alkalinity_of",
    "refill",
    "soak",
    "top_up",
    "ventilate",
]
