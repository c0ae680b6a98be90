"""The belief over water and tub: prior, re-lived past, tempered sampling over a window, checkpoints."""

from tubwater.belief.belief import MEMBERS, Belief, Foretold, believe, foretell
from tubwater.belief.change import Change, ChangeKind
from tubwater.belief.checkpoint import MODEL, Checkpoints
from tubwater.belief.history import Happening, Slot, happenings
from tubwater.belief.learned import Learned, LearnedValue, changes, learned
from tubwater.belief.life import Moment, covered_until, fed, passed
from tubwater.belief.observe import Observer
from tubwater.belief.prior import Prior, prior_of
from tubwater.belief.products import Products
from tubwater.belief.sampler import SamplerInfo
from tubwater.belief.window import mapped

__all__ = [
    "MEMBERS",
    "MODEL",
    "Belief",
    "Change",
    "ChangeKind",
    "Checkpoints",
    "Foretold",
    "Happening",
    "Learned",
    "LearnedValue",
    "Moment",
    "Observer",
    "Prior",
    "Products",
    "SamplerInfo",
    "Slot",
    "believe",
    "changes",
    "covered_until",
    "fed",
    "foretell",
    "happenings",
    "learned",
    "mapped",
    "passed",
    "prior_of",
]
