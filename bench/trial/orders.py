"""What a policy wants done: at a visit, and by whoever is at home on the days after."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Chore", "Order", "Orders"]


@dataclass(frozen=True)
class Order:
    """Something to do ``after`` minutes from the visit's begin: a dose (g), a partial drain (L), or the feeder."""

    after: float
    substance: str = ""
    grams: float = 0.0
    litres: float = 0.0
    tablets: float = 0.0
    opening: float = 0.0


@dataclass(frozen=True)
class Orders:
    """What a policy wants done at a visit.

    Attributes:
        tasks: in order of time. minutes: how long the visit lasts. after_soak: g of oxidizer per person-half-hour.
        daily_cap: most of it a day, g.
        retest_after: minutes after which to test and ask again, or None. chores: tasks of the days after, under the
            cover, for whoever is at home.
        back_after: hours after which the keeper is asked to come back. note: for the reader of a log.
    """

    tasks: tuple[Order, ...] = ()
    minutes: float = 15.0
    after_soak: float = 0.0
    daily_cap: float = 1e9
    retest_after: float | None = None
    back_after: float | None = None
    note: str = ""
    chores: tuple[Order, ...] = ()


@dataclass(frozen=True)
class Chore:
    """A task that a plan left to whoever is at home; nobody does it once another plan holds."""

    hour: float
    order: Order
    orders: Orders
