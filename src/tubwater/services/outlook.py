"""Where the water of a tub is going, as it is or with something changed."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import numpy as np

from tubwater.advice import Situation
from tubwater.advice.outlook import LEVELS, SATURATION, NextTest, Outlook, Scenario, look_ahead
from tubwater.errors import InputError
from tubwater.facts import methods
from tubwater.services.advise import case_of
from tubwater.services.happenings import MOST_PEOPLE
from tubwater.tub import Event, Shelf, Tub

__all__ = ["LEVELS", "SATURATION", "NextTest", "Outlook", "Scenario", "outlook_for", "outlook_of"]

_MOST_DAYS = 60.0
_LONGEST_PARTY = 720.0  # min
_MEMBERS = 1000


def outlook_for(
    tub: Tub,
    shelf: Shelf,
    events: Sequence[Event],
    now: datetime,
    horizon_days: float = 14.0,
    scenario: Scenario | None = None,
    seed: int = 0,
    members: int = _MEMBERS,
) -> Outlook:
    """The outlook from ``now`` (aware datetime); scenarios of one seed meet the same soaks.

    Raises:
        InputError: the horizon is not 1 to 60 days, or the scenario names an unknown method or product, a party
            without a time, or a number outside its range.
    """
    case = case_of(tub, shelf, events, now, seed, members)
    return outlook_of(case, horizon_days, scenario, seed)


def outlook_of(case: Situation, horizon_days: float = 14.0, scenario: Scenario | None = None, seed: int = 0) -> Outlook:
    """The outlook of a situation; see ``outlook_for``."""
    scenario = scenario or Scenario()
    _check(case.shelf, horizon_days, scenario)
    return look_ahead(case, horizon_days, scenario, np.random.default_rng([seed, 7]))


def _check(shelf: Shelf, days: float, scenario: Scenario) -> None:
    if not 1.0 <= days <= _MOST_DAYS:
        raise InputError.one("horizon_days", days, f"1 to {_MOST_DAYS:g} days")
    if scenario.party_people and scenario.party_at is None:
        raise InputError.one("party_at", "nothing", "when they come, such as 2026-11-28 20:00")
    if not 0.0 <= scenario.party_people <= MOST_PEOPLE:
        raise InputError.one("party_people", scenario.party_people, f"0 to {MOST_PEOPLE:g} people")
    if not 1.0 <= scenario.party_minutes <= _LONGEST_PARTY:
        raise InputError.one("party_minutes", scenario.party_minutes, f"1 to {_LONGEST_PARTY:g} min")
    if scenario.opening is not None and not 0.0 <= scenario.opening <= 1.0:
        raise InputError.one("opening", scenario.opening, "0 (closed) to 1 (fully open)")
    if scenario.tablets is not None and not 0.0 <= scenario.tablets <= 60.0:
        raise InputError.one("tablets", scenario.tablets, "0 to 60 tablets")
    if scenario.test_now and scenario.test_now not in methods():
        raise InputError.one("test_now", scenario.test_now, f"one of {', '.join(methods())}")
    names = [product.name for product in shelf.products]
    if scenario.after_soak_product and scenario.after_soak_product not in names:
        raise InputError.one("after_soak_product", scenario.after_soak_product, f"one of {', '.join(names)}")
    if (scenario.away_from is None) is not (scenario.away_until is None):
        missing = "away_from" if scenario.away_from is None else "away_until"
        raise InputError.one(missing, "nothing", "both a beginning and an end")
    if scenario.away_from and scenario.away_until and scenario.away_until <= scenario.away_from:
        raise InputError.one("away_until", f"{scenario.away_until:%Y-%m-%d %H:%M}", "a time after the absence begins")
