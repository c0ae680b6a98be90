"""Luck that is the same for every policy: streams of random numbers keyed by tub, purpose and time."""

from __future__ import annotations

import zlib
from dataclasses import dataclass

import numpy as np

from .tank import BR2, CACO3, PRODUCTS, Nature, neutral

__all__ = [
    "Household",
    "Luck",
    "Soak",
    "Visit",
    "draw_household",
    "draw_nature",
    "draw_soaks",
    "draw_visits",
    "start_water",
]

_MG = 1e-3 / 0.993  # mol/kg per mg/L and g/mol
_PERIOD = 168.0


@dataclass(frozen=True)
class Luck:
    """Random streams of one tub."""

    seed: int
    tub: int

    def at(self, purpose: str, hour: float = 0.0) -> np.random.Generator:
        """The stream of one purpose at one time (to the minute), whatever was drawn elsewhere."""
        return np.random.default_rng([self.seed, self.tub, zlib.crc32(purpose.encode()), round(hour * 60.0)])


@dataclass(frozen=True)
class Soak:
    """People in the tub: begins at ``hour``, ``hours`` long. ``logged``: whether anybody writes it down.

    ``load`` is the factor on the tub's usual demand per bather-hour, ``blower`` the share of time with air jets.
    """

    hour: float
    hours: float
    people: int
    logged: bool
    load: float
    blower: float
    obeys: float  # uniform; below the compliance the dose after the soak is taken


@dataclass(frozen=True)
class Visit:
    """The keeper beside the tub."""

    hour: float
    missed: bool


@dataclass(frozen=True)
class Household:
    """How this tub is used and by whom it is kept.

    Attributes:
        plate: litres on the plate. per_week, people, minutes: soaks. party: chance of one a week.
        told: what the keeper says of (per_week, people, minutes). unlogged: share of soaks nobody notes.
        missed: share of visits. hand: sigma of a dose; scoop: lasting factor by substance.
        eye: factor on the noise of a test; lot: lasting offset by quantity, in one-sigma.
    """

    plate: float
    per_week: float
    people: float
    minutes: float
    party: float
    told: tuple[float, float, float]
    unlogged: float
    missed: float
    hand: float
    scoop: dict[str, float]
    eye: float
    fill_told: dict[str, float]


def draw_nature(luck: Luck, plate: float, weeks: int) -> Nature:
    """A tub out of the ranges: demand, decay, gas, feeder, kinetics, volume (see the notes beside each)."""
    g = luck.at("nature")

    def around(median: float, sigma: float, low: float, high: float) -> float:
        return float(np.clip(median * np.exp(sigma * g.standard_normal()), low, high))

    return Nature(
        litres=plate * float(np.clip(0.90 + 0.07 * g.standard_normal(), 0.7, 1.08)),
        decay=around(0.35, 0.55, 0.1, 1.2),
        order=("saturating", "mixed", "first")[g.integers(3)],
        half=around(2.0, 0.5, 0.5, 6.0),
        q10=float(g.uniform(1.6, 2.6)),
        bather=around(6.5, 0.45, 3.4, 22.0),  # 1.5-10 g as Cl2
        fast=float(g.uniform(0.25, 0.55)),
        fast_rate=np.log(2.0) / (2.5e-5 * around(0.25, 0.5, 0.05, 1.0)),
        lag_hours=around(8.0, 0.4, 3.0, 20.0),
        release=around(1.6, 0.5, 0.5, 5.0),
        opening_power=float(g.uniform(0.6, 1.4)),
        count_power=float(g.uniform(0.75, 1.0)),
        still=float(g.uniform(0.04, 0.09)),
        cover=around(0.015, 0.6, 0.003, 0.08),
        jets=around(0.22, 0.4, 0.1, 0.5),
        air=around(1.2, 0.5, 0.5, 4.0),
        mps_rate=float(g.uniform(0.55, 1.0)) * 3600.0,
        mps_energy=float(g.uniform(45.0, 60.0)),
        temperature=38.0,
        offset=float(np.clip(0.6 * g.standard_normal(), -1.5, 1.5)),
        swing=float(g.uniform(0.0, 1.2)),
        carry=around(2.0, 0.4, 0.5, 5.0),
        evaporation=float(g.uniform(0.15, 0.6)),
        sun=around(0.75, 0.6, 0.17, 3.0),
        growth=around(0.3, 0.5, 0.05, 1.0) / 24.0 / BR2 * _MG,  # mg/L a day as bromine
        drift=_drift(luck, weeks),
        clogs=_clogs(luck, weeks),
        strength={s: float(np.clip(1.0 + 0.03 * g.standard_normal(), 0.9, 1.05)) for s in PRODUCTS}
        | {"monopersulfate": float(g.uniform(0.85, 1.0))},  # it ages
        fill=_tap(luck),
    )


def _drift(luck: Luck, weeks: int) -> np.ndarray:
    """Rates wander some 15 % a root-week, drawn back; now and then they jump: a new cover, a cleaned filter."""
    g = luck.at("drift")
    drift = np.zeros((3, weeks + 2))
    for week in range(1, weeks + 2):
        drift[:, week] = 0.9 * drift[:, week - 1] + 0.13 * g.standard_normal(3)
        jump = 0.35 * g.standard_normal(3)
        drift[:, week] += jump * (g.random() < 0.02)
    return drift


def _clogs(luck: Luck, weeks: int) -> tuple[tuple[float, float], ...]:
    """Spans in which the feeder is half stopped up: one week in twelve, for a day to six."""
    g = luck.at("clogs")
    found = []
    for week in range(weeks + 1):
        u = g.random(3)
        if u[0] < 0.08:
            begin = 168.0 * (week + float(u[1]))
            found.append((begin, begin + 24.0 * (1.0 + 5.0 * float(u[2]))))
    return tuple(found)


def _tap(luck: Luck) -> np.ndarray:
    g = luck.at("tap")

    def around(median: float, sigma: float, low: float, high: float) -> float:
        return float(np.clip(median * np.exp(sigma * g.standard_normal()), low, high))

    alkalinity, calcium = around(110.0, 0.5, 20.0, 280.0), around(120.0, 0.6, 15.0, 350.0)
    eq = alkalinity * _MG / CACO3
    return neutral(
        alkalinity=eq,
        C=1.06 * eq,
        Ca=calcium * _MG / 2.0 / CACO3,
        Mg=0.25 * calcium * _MG / 2.0 / CACO3,
        Cl=around(30.0, 0.6, 3.0, 250.0) * _MG / 35.453,
        SO4=around(40.0, 0.6, 2.0, 250.0) * _MG / 96.06,
        K=2.0 * _MG / 39.1,
    )


def start_water(luck: Luck, fill: np.ndarray) -> tuple[np.ndarray, float]:
    """A water some weeks in use, and its pH."""
    g = luck.at("start")
    alkalinity = float(np.clip(95.0 * np.exp(0.35 * g.standard_normal()), 40.0, 220.0))
    x = neutral(
        alkalinity=alkalinity * _MG / CACO3,
        Ca=fill[1] * float(g.uniform(0.9, 1.3)),
        Mg=fill[2],
        Cl=fill[5] + float(g.uniform(20.0, 120.0)) * _MG / 35.453,
        SO4=fill[6] + float(g.uniform(10.0, 100.0)) * _MG / 96.06,
        Br=float(np.clip(28.0 * np.exp(0.45 * g.standard_normal()), 10.0, 70.0)) * _MG / 79.904,
        OX=float(g.uniform(0.5, 6.0)) * _MG / BR2,
        DMH=float(g.uniform(10.0, 120.0)) * _MG / 128.13,
        LAG=float(g.uniform(0.0, 3.0)) * _MG / BR2,
    )
    return x, float(g.uniform(7.2, 8.0))


def draw_household(luck: Luck) -> Household:
    """Who bathes and who keeps it."""
    g = luck.at("household")
    per_week, people, minutes = float(g.uniform(2.0, 5.0)), float(g.uniform(1.0, 2.6)), float(g.uniform(15.0, 35.0))
    told = tuple(v * float(np.exp(0.2 * g.standard_normal())) for v in (per_week, people, minutes))
    return Household(
        plate=float(g.choice([900.0, 1100.0, 1300.0, 1500.0, 1800.0])),
        per_week=per_week,
        people=people,
        minutes=minutes,
        party=float(g.uniform(0.02, 0.12)),
        told=(round(told[0] * 2.0) / 2.0 or 0.5, max(1.0, float(round(told[1]))), 5.0 * round(told[2] / 5.0)),
        unlogged=float(g.uniform(0.0, 0.12)),
        missed=float(g.uniform(0.0, 0.12)),
        hand=float(g.uniform(0.08, 0.2)),
        scoop={s: float(np.exp(0.12 * g.standard_normal())) for s in PRODUCTS},
        eye=float(g.uniform(0.7, 1.4)),
        fill_told={"noise": float(g.standard_normal())},
    )


def draw_soaks(house: Household, g: np.random.Generator, first_day: int, days: int, party: bool = True) -> list[Soak]:
    """The soaks of some days: evenings as the household bathes, and now and then a party that lasts its hours."""
    soaks = []
    for day in range(first_day, first_day + days):
        u = g.random(9)
        people = max(1, round(house.people * float(np.exp(0.3 * g.standard_normal()))))
        hours = house.minutes / 60.0 * float(np.exp(0.3 * g.standard_normal()))
        if party and u[0] < house.party / 7.0 * (3.0 if day % 7 in (4, 5) else 0.2):
            guests = int(g.integers(4, 9))
            soaks.append(_soak(24.0 * day + 19.0 + u[1], 1.5 + 2.0 * u[2], guests, u, house, g, 0.6))
        elif u[3] < house.per_week / 7.0:
            soaks.append(_soak(24.0 * day + 17.0 + 5.0 * u[4], min(hours, 1.5), people, u, house, g, 1.0))
    return soaks


def _soak(
    hour: float, hours: float, people: int, u: np.ndarray, house: Household, g: np.random.Generator, load: float
) -> Soak:
    """One soak; at a party not everybody is in all the time, which the ``load`` says."""
    load *= float(np.exp(0.2 * g.standard_normal() - 0.02))
    return Soak(hour, max(hours, 0.2), people, bool(u[5] >= house.unlogged), load, float(u[6]), float(u[7]))


def draw_visits(luck: Luck, house: Household, weeks: int, per_week: int) -> list[Visit]:
    """Mornings of visits; some are missed, never the first."""
    days = {1: (0.0,), 2: (0.0, 3.0), 3: (0.0, 2.0, 4.0)}[per_week]
    visits = []
    for week in range(weeks):
        for day in days:
            hour = 24.0 * (7.0 * week + day) + 9.0
            g = luck.at("visit", hour)
            late = 3.0 * float(g.random())
            visits.append(Visit(round((hour + late) * 4.0) / 4.0, bool(g.random() < house.missed) and week > 0))
    return visits
