"""The belief over water and tub: prior, re-lived past, tempered sampling."""

from tubwater.belief.belief import Belief, believe
from tubwater.belief.observe import Observer
from tubwater.belief.prior import Prior, prior_of
from tubwater.belief.replay import Products, fed, lived, moments
from tubwater.belief.sampler import SamplerInfo, temper

__all__ = [
    "Belief",
    "Observer",
    "Prior",
    "Products",
    "SamplerInfo",
    "believe",
    "fed",
    "lived",
    "moments",
    "prior_of",
    "temper",
]
