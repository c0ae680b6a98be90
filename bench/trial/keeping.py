"""A tub kept for some weeks by one policy: soaks, visits, tests and doses, and a log of everything that happened."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from tubwater.facts.conversion import UNIT_OF
from tubwater.facts.quantity import OxidantScale, Quantity
from tubwater.tub import (
    Answer,
    Clarity,
    Dosed,
    Drained,
    Event,
    FeederSet,
    Measure,
    MeasureKind,
    Noticed,
    Product,
    Reading,
    Sanitizer,
    Shelf,
    Soaked,
    Tested,
    Tub,
)

from .hands import Seen, dose_factor, read
from .luck import Household, Luck, Soak, Visit, draw_household, draw_nature, draw_soaks, draw_visits, start_water
from .oracle import Oracle
from .orders import Chore, Order, Orders
from .tank import Nature, Tank

__all__ = [
    "LABEL",
    "SHELF",
    "Choices",
    "Kept",
    "Moment",
    "Policy",
    "Scene",
    "keep",
    "scene_of",
    "when",
]

Array = NDArray[np.float64]
_BEGIN = datetime(2026, 1, 5, tzinfo=UTC)
SHELF = Shelf(
    (
        Product("bicarbonate", "sodium-bicarbonate", 0.99, (Measure(MeasureKind.SCOOP, 30.0),)),
        Product("soda ash", "sodium-carbonate", 0.99, (Measure(MeasureKind.SPOON, 12.0),)),
        Product("dry acid", "sodium-bisulfate", 0.93, (Measure(MeasureKind.SPOON, 15.0),)),
        Product("oxidizer", "monopersulfate", 0.88, (Measure(MeasureKind.SPOON, 5.0),)),
        Product("tablets", "bcdmh", 0.96, tablet_grams=20.0),
    )
)
LABEL = {p.substance: p.strength or 1.0 for p in SHELF.products}
NAMES = {p.substance: p.name for p in SHELF.products}
SUBSTANCES = {p.name: p.substance for p in SHELF.products}
_LONGEST = 1.0  # h of one step of the truth
_A_DAY = 20.0  # h; nobody looks more than once a day


@dataclass(frozen=True)
class Choices:
    """What a trial is run with: test kit, visits a week, share of soaks followed by their dose, and so on."""

    weeks: int = 12
    kit: str = "strip"
    visits: int = 1
    after_soak: float = 0.9
    seed: int = 0
    members: int = 500
    entry: tuple[str, ...] = ()
    cover: bool = False
    returns: float = 0.0  # share of the looks before the next visit, that a plan asks for, which are made
    feeder: bool = False  # with each test a look at what is left of the tablets
    looks: int = 3  # most of them between two visits, one a day


@dataclass(frozen=True)
class Scene:
    """A hidden tub with its people: the same for every policy."""

    luck: Luck
    nature: Nature
    house: Household
    soaks: tuple[Soak, ...]
    visits: tuple[Visit, ...]
    start: Array
    start_ph: float
    tub: Tub


@dataclass
class Moment:
    """A visit as a policy meets it. Only the bound may look at ``tank`` and ``scene.nature``."""

    hour: float
    days: float
    events: list[Event]
    tank: Tank
    scene: Scene
    choices: Choices


class Policy(Protocol):
    """A way to keep a tub."""

    def visit(self, moment: Moment) -> Orders:
        """What to do now."""
        ...

    def entry(self, moment: Moment, extra: Sequence[Event]) -> bool | None:
        """Whether people may get in; None where the policy gives no verdict."""
        ...

    def covers(self, moment: Moment, test: Tested) -> dict[str, bool]:
        """Whether each reading lies inside the band that was believed before it; empty where nothing is believed."""
        ...


@dataclass
class Kept:
    """What happened. ``hours`` columns: end of the stretch, its length, bromine, pH, alkalinity, index, calcium.

    ``soaks``: hour, true bromine, true pH, then for each kind of entry 1 allowed, 0 not, -1 not asked.
    """

    hours: list[tuple[float, ...]] = field(default_factory=list)
    soaks: list[tuple[float, ...]] = field(default_factory=list)
    grams: dict[str, float] = field(default_factory=dict)
    log: list[str] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    tests: int = 0
    visits: int = 0
    solves: int = 0
    doses: list[tuple[float, str, float]] = field(default_factory=list)
    seen: list[tuple[float, str, float]] = field(default_factory=list)
    covered: dict[str, tuple[int, int]] = field(default_factory=dict)


def when(hour: float) -> datetime:
    """The clock at an hour of the trial."""
    return _BEGIN + timedelta(minutes=round(hour * 60.0))


def scene_of(number: int, choices: Choices) -> Scene:
    """The ``number``-th hidden tub."""
    luck = Luck(choices.seed, number)
    house = draw_household(luck)
    nature = draw_nature(luck, house.plate, choices.weeks)
    soaks = draw_soaks(house, luck.at("soaks"), 0, 7 * choices.weeks)
    start, ph = start_water(luck, nature.fill)
    per_week, people, minutes = house.told
    tub = Tub(f"tub {number}", house.plate, Sanitizer.BROMINE, temperature=38.0, soaks_per_week=per_week,
              people_per_soak=people, minutes_per_soak=minutes)  # fmt: skip
    visits = draw_visits(luck, house, choices.weeks, choices.visits)
    return Scene(luck, nature, house, tuple(soaks), tuple(visits), start, ph, tub)


def keep(scene: Scene, policy: Policy, choices: Choices, tick: Callable[[], None] = lambda: None) -> Kept:
    """Live the weeks."""
    return _Life(scene, policy, choices, tick).live()


class _Life:
    def __init__(self, scene: Scene, policy: Policy, choices: Choices, tick: Callable[[], None]) -> None:
        self.scene, self.policy, self.choices, self.tick = scene, policy, choices, tick
        self.oracle = Oracle()
        self.tank = Tank.filled(scene.nature, scene.start, scene.start_ph, self.oracle)
        self.tank.grams, self.tank.count = np.array([30.0]), np.array([2.0])
        self.hour, self.kept = 0.0, Kept()
        self.orders, self.ordered = Orders(), 0.0
        self.doses_today: dict[int, float] = {}
        self.looks = 0

    def live(self) -> Kept:
        end = 168.0 * self.choices.weeks
        tasks: list[Soak | Visit | Chore] = sorted([*self.scene.soaks, *self.scene.visits], key=lambda what: what.hour)
        while tasks:
            what = tasks.pop(0)
            self._covered(max(what.hour, self.hour))
            if isinstance(what, Soak):
                self._soak(what)
            elif isinstance(what, Chore):
                self._chore(what)
            elif not what.missed:
                self._visit(what)
                self.tick()
                tasks = sorted([*tasks, *self._back(what), *self._chores()], key=lambda what: what.hour)
        self._covered(end)
        self.kept.solves = self.oracle.solves
        return self.kept

    # Time

    def _covered(self, until: float) -> None:
        while self.hour < until - 1e-9:
            self._step(min(_LONGEST, until - self.hour), self.tank.covered)

    def _step(self, hours: float, gas: float, light: float = 0.0) -> None:
        tank = self.tank
        tank.step(self.hour, hours, gas, light)
        self.hour += hours
        row = (tank.bromine, tank.ph, tank.alkalinity, tank.index, tank.calcium, tank.monopersulfate)
        self.kept.hours.append((self.hour, hours, *(float(v[0]) for v in row)))

    def _open(self, until: float, light: float) -> None:
        while self.hour < until - 1e-9:
            self._step(min(0.25, until - self.hour), self.scene.nature.jets, light)

    # Soaks

    def _soak(self, soak: Soak) -> None:
        nature, tank = self.scene.nature, self.tank
        self._entry(soak)
        gas = nature.jets + soak.blower * nature.air
        parts = max(1, round(soak.hours / 0.25))
        begin = self.hour
        for part in range(parts):
            tank.bathe(soak.load * soak.people * soak.hours / parts, soak.people if part == parts - 1 else 0, self.hour)
            self._step(soak.hours / parts, gas)
        told = 5.0 * max(1, round(soak.hours * 60.0 / 5.0))
        self._say(begin, f"soak {soak.people} people {told:.0f} min{'' if soak.logged else ' (nobody notes it)'}"
                  f", load {soak.load:.2f}")  # fmt: skip
        if soak.logged:
            self.kept.events.append(Soaked(when(self.hour), float(soak.people), told))
            self._after(soak, told)

    def _entry(self, soak: Soak) -> None:
        answers = []
        for kind in self.choices.entry:
            extra: list[Event] = [Noticed(when(self.hour), Clarity.CLEAR, unlogged_soak=Answer.NO)]
            if kind != "forecast":
                seen = read(self.tank, kind, self.hour, self.scene.luck, self.scene.house, 1, "entry")
                extra.append(_tested(self.hour, seen))
            answer = self.policy.entry(self._moment(1.0), extra)
            answers.append(-1.0 if answer is None else float(answer))
        self.kept.soaks.append((self.hour, float(self.tank.bromine[0]), float(self.tank.ph[0]), *answers))

    def _after(self, soak: Soak, told: float) -> None:
        if soak.obeys >= self.choices.after_soak or self.orders.after_soak <= 0.0:
            return
        day = int(self.hour // 24)
        used = self.doses_today.get(day, 0.0)
        grams = min(self.orders.after_soak * soak.people * told / 30.0, self.orders.daily_cap - used)
        grams = 2.5 * round(grams / 2.5)  # half a spoon
        if grams > 0.0:
            self.doses_today[day] = used + grams
            self._dose("monopersulfate", grams)

    # Visits

    def _moment(self, days: float) -> Moment:
        return Moment(self.hour, days, self.kept.events, self.tank, self.scene, self.choices)

    def _visit(self, visit: Visit) -> None:
        self.kept.visits += 1
        self.tank.top_up()
        self.tank.refresh(self.hour)
        light = 0.4 * float(self.scene.luck.at("light", visit.hour).random()) ** 2
        self._test("visit")
        days = self._days_left(visit)
        for _ in range(3):
            self.orders = self.policy.visit(self._moment(days))
            if self.orders.note:
                self._say(self.hour, self.orders.note)
            if self.orders.retest_after is None:
                break
            self._covered(self.hour + self.orders.retest_after / 60.0)
            self._test("again")
        begin = self.ordered = self.hour
        for order in self.orders.tasks:
            self._open(max(self.hour, begin + order.after / 60.0), light)
            self._do(order)
        self._open(max(self.hour, begin + self.orders.minutes / 60.0), light)

    def _back(self, visit: Visit) -> list[Visit]:
        """The look that the plan asked for before the next visit, where it is made: the next day at the earliest."""
        after = max(self.orders.back_after or np.inf, _A_DAY)
        self.looks = 0 if visit in self.scene.visits else self.looks
        if self.looks >= self.choices.looks or after > self._hours_left(visit) - 12.0:
            return []
        self.looks += 1
        made = float(self.scene.luck.at("back", visit.hour).random()) < self.choices.returns
        return [Visit(visit.hour + after, False)] if made else []

    def _chores(self) -> list[Chore]:
        """What is left to whoever is at home, where it is not forgotten."""
        made = float(self.scene.luck.at("chores", self.ordered).random()) < self.choices.after_soak
        found = [Chore(self.ordered + order.after / 60.0, order, self.orders) for order in self.orders.chores]
        return found if made else []

    def _chore(self, chore: Chore) -> None:
        if chore.orders is self.orders:
            self._do(chore.order)

    def _days_left(self, visit: Visit) -> float:
        """Days until the next visit that the keeper means to make, at least one."""
        return max(1.0, float(round(self._hours_left(visit) / 24.0)))

    def _hours_left(self, visit: Visit) -> float:
        later = [v.hour for v in self.scene.visits if v.hour > visit.hour]
        return min(later) - visit.hour if later else 168.0 / self.choices.visits

    def _test(self, purpose: str) -> None:
        number, looks = self.kept.tests, self.choices.feeder and self._was_set()
        seen = read(self.tank, self.choices.kit, self.hour, self.scene.luck, self.scene.house, number, purpose, looks)
        self.kept.tests += 1
        self.kept.seen += [(self.hour, s.quantity, s.value) for s in seen]
        tested = _tested(self.hour, seen)
        if self.choices.cover and self.kept.events:
            self._cover(tested)
        self.kept.events.append(tested)
        self.kept.events.append(Noticed(when(self.hour), Clarity.CLEAR, unlogged_soak=Answer.NO))
        t = self.tank
        self._say(self.hour, "test " + ", ".join(f"{s.quantity} {s.value:g}" for s in seen)
                  + f" | true Br {t.bromine[0]:.2f} pH {t.ph[0]:.2f} TA {t.alkalinity[0]:.0f} SI {t.index[0]:+.2f}"
                  f" feeder {t.grams[0]:.0f} g bank {t.x[7, 0] * 79.904e3:.0f}"
                  f" owed {(t.x[11, 0] + t.x[12, 0]) * 159.8e3:.1f} mg/L")  # fmt: skip

    def _was_set(self) -> bool:
        return any(isinstance(event, FeederSet) for event in self.kept.events)

    def _cover(self, tested: Tested) -> None:
        for name, inside in self.policy.covers(self._moment(7.0), tested).items():
            good, made = self.kept.covered.get(name, (0, 0))
            self.kept.covered[name] = (good + inside, made + 1)

    def _do(self, order: Order) -> None:
        if order.substance:
            self._dose(order.substance, order.grams)
            return
        if order.litres:
            self._drain(order.litres)
            return
        tank, wanted = (
            self.tank,
            20.0 * order.tablets * float(np.exp(0.1 * self.scene.luck.at("eye", self.hour).standard_normal())),
        )
        added = max(wanted - float(tank.grams[0]), 0.0)
        self._count("bcdmh", added)
        tank.grams, tank.count = np.array([wanted]), np.array([max(order.tablets, 1e-6)])
        tank.opening = np.array([order.opening])
        self.kept.events.append(FeederSet(when(self.hour), NAMES["bcdmh"], order.tablets, order.opening))
        self._say(self.hour, f"feeder {order.tablets:g} tablets, open {order.opening:g} (added {added:.0f} g)")

    def _drain(self, litres: float) -> None:
        self.tank.drain(litres)
        self.tank.refresh(self.hour)
        self._count("water, L", litres)
        self.kept.events.append(Drained(when(self.hour), litres))
        self._say(self.hour, f"drain and refill {litres:.0f} L")

    def _dose(self, substance: str, grams: float) -> None:
        factor = dose_factor(self.scene.luck, self.scene.house, substance, self.hour)
        real = grams * factor
        self.tank.dose(substance, real * LABEL[substance] * self.scene.nature.strength[substance])
        self.tank.refresh(self.hour)
        self._count(substance, real)
        self.kept.doses.append((self.hour, substance, grams))
        self.kept.events.append(Dosed(when(self.hour), NAMES[substance], grams, 0.2))
        self._say(self.hour, f"dose {grams:g} g {NAMES[substance]} (really {real:.0f})")

    def _count(self, substance: str, grams: float) -> None:
        self.kept.grams[substance] = self.kept.grams.get(substance, 0.0) + grams

    def _say(self, hour: float, text: str) -> None:
        self.kept.log.append(f"{when(hour):%a} w{int(hour // 168) + 1} {when(hour):%H:%M} {text}")


def _tested(hour: float, seen: Sequence[Seen]) -> Tested:
    at = when(hour)
    readings = []
    for s in seen:
        quantity = Quantity(s.quantity)
        scale = OxidantScale.AS_BR2 if quantity is Quantity.BROMINE else None
        readings.append(Reading(quantity, s.value, s.value, UNIT_OF[quantity], s.method, at, scale))
    return Tested(at, tuple(readings))
