"""The bound: a planner that knows the hidden tub and its water, and how its people bathe, but not when they will.

It searches the same levers, in the same measures, at the same visits, by cross-entropy on the hidden tub's own rate
laws (chemistry frozen at the visit; drift and clogging of the coming days known). Its futures are drawn afresh from
the household's own distribution of soaks, its hand's errors from the keeper's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tubwater.tub import Event, Tested

from .keeping import LABEL, Moment
from .luck import Soak, draw_soaks
from .orders import Order, Orders
from .score import BAND
from .tank import Tank

__all__ = ["Bound"]

Array = NDArray[np.float64]
_NAMES = ("balance", "bicarbonate", "oxidizer", "tablets", "opening", "after")
_SCENARIOS, _CANDIDATES, _ROUNDS, _ELITE = 20, 48, 6, 8
_STEP = {"acid": 7.5, "soda": 6.0, "bicarbonate": 15.0, "oxidizer": 2.5, "after": 2.5}  # half a measure, g


@dataclass(frozen=True)
class _Future:
    """Hour by hour, shape (hours, S): bather-hours, people getting out, gas exchange, person-half-hours dosed."""

    bathing: Array
    out: Array
    gas: Array
    dosed: Array
    error: Array


class Bound:
    """Knows the tub, its water and the distribution of soaks."""

    def __init__(self) -> None:
        self._last: Array | None = None
        self._value = 0.0

    def visit(self, moment: Moment) -> Orders:
        """The best levers on the hidden tub itself."""
        rng = np.random.default_rng([moment.choices.seed, moment.scene.luck.tub, 5, round(moment.hour * 60)])
        most = _most(moment)
        best = self._search(moment, most, rng)
        self._last = best / most
        return _orders(best, _cap(moment), self._value)

    def entry(self, moment: Moment, extra: Sequence[Event]) -> bool | None:
        """No verdict."""
        return None

    def covers(self, moment: Moment, test: Tested) -> dict[str, bool]:
        """Knows, and so believes nothing."""
        return {}

    def _search(self, moment: Moment, most: Array, rng: np.random.Generator) -> Array:
        """Two starts, the usual tub and the last plan; the best few of all rounds are judged on fresh futures."""
        future = _future(moment, rng, _SCENARIOS)
        usual = np.array([0.0, 0.0, 0.1, 0.4, 0.5, 0.4])
        starts = [usual] if self._last is None else [usual, np.concatenate([usual[:3], self._last[3:]])]
        found = [pair for start in starts for pair in self._rounds(moment, most, rng, future, start)]
        found.sort(key=lambda pair: -pair[0])
        final = np.unique(np.array([levers for _, levers in found[: 3 * _ELITE]]), axis=0)
        values = _values(moment, final, _future(moment, rng, 3 * _SCENARIOS))
        self._value = float(values.max())
        return np.asarray(final[np.argmax(values)])

    def _rounds(
        self, moment: Moment, most: Array, rng: np.random.Generator, future: _Future, mean: Array
    ) -> list[tuple[float, Array]]:
        """Cross-entropy from one start; the elite of each round with its value."""
        low = np.array([-1.0, 0.0, 0.0, 0.0, 0.1, 0.0])
        spread, found = np.array([0.4, 0.3, 0.3, 0.35, 0.35, 0.35]), []
        for _ in range(_ROUNDS):
            drawn = np.clip(mean + spread * rng.standard_normal((_CANDIDATES, 6)), low, 1.0)
            drawn[: _CANDIDATES // 3, :2] *= rng.random((_CANDIDATES // 3, 2)) < 0.5
            drawn[0] = mean
            measured = _rounded(drawn * most)
            values = _values(moment, measured, future)
            best = np.argsort(-values)[:_ELITE]
            found += [(float(values[i]), measured[i]) for i in best]
            mean, spread = drawn[best].mean(axis=0), drawn[best].std(axis=0) + 0.03
        return found


def _most(moment: Moment) -> Array:
    """Twice the cap of one addition (for acid and base), tablets that fit in, twice what a bather needs."""
    per, nature = moment.scene.tub.litres / 1300.0, moment.scene.nature
    after = max(nature.bather / (0.52 * LABEL["monopersulfate"]), 15.0) if moment.choices.after_soak > 0.0 else 0.0
    return np.array([134.0 * per, 220.0 * per, 74.0 * per, 8.0, 1.0, max(after, 1e-9)])


def _cap(moment: Moment) -> float:
    """Most oxidizer after the soaks of a day, g: the project's own cap of one addition, 25 mg/L."""
    return 0.025 * moment.scene.tub.litres


def _rounded(levers: Array) -> Array:
    """To half measures, whole tablets and quarters of the opening."""
    out = levers.copy()
    acid = _STEP["acid"] * np.round(np.maximum(out[:, 0], 0.0) / _STEP["acid"])
    soda = _STEP["soda"] * np.round(np.maximum(-0.2 * out[:, 0], 0.0) / _STEP["soda"])
    out[:, 0] = acid - 5.0 * soda
    for column, name in ((1, "bicarbonate"), (2, "oxidizer"), (5, "after")):
        out[:, column] = _STEP[name] * np.round(out[:, column] / _STEP[name])
    out[:, 3] = np.round(out[:, 3])
    out[:, 4] = np.clip(np.round(out[:, 4] * 4.0) / 4.0, 0.25, 1.0)
    return out


def _orders(levers: Array, cap: float, value: float) -> Orders:
    balance, bicarbonate, oxidizer, tablets, opening, after = (float(v) for v in levers)
    wanted = [
        ("sodium-bisulfate", max(balance, 0.0)),
        ("sodium-bicarbonate", bicarbonate),
        ("sodium-carbonate", max(-balance / 5.0, 0.0)),
        ("monopersulfate", oxidizer),
    ]
    tasks, clock = [], 2.0
    for substance, grams in wanted:
        if grams > 0.0:
            tasks.append(Order(clock, substance, grams))
            clock += 22.0
    tasks.append(Order(clock, tablets=tablets, opening=opening))
    note = f"bound {value:.2f}: {dict(zip(_NAMES, np.round(levers, 2).tolist(), strict=True))}"
    return Orders(tuple(tasks), clock + 14.0, after, cap, note=note)


def _future(moment: Moment, rng: np.random.Generator, scenarios: int) -> _Future:
    """Soaks of the coming days, drawn as the household bathes."""
    hours = max(1, round(24.0 * moment.days))
    shape = (hours, scenarios)
    nature, scene = moment.scene.nature, moment.scene
    bathing, out, dosed = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    gas = np.full(shape, moment.tank.covered)
    gas[0] = nature.jets
    days = range(scenarios)
    for s in days:
        for soak in draw_soaks(scene.house, rng, int(moment.hour // 24), int(np.ceil(moment.days)) + 1):
            _write(soak, s, moment, bathing, out, gas, dosed)
    hand = np.hypot(scene.house.hand, 0.0)
    error = np.exp(hand * rng.standard_normal(scenarios)) * scene.house.scoop["monopersulfate"]
    return _Future(bathing, out, gas, dosed, error)


def _write(soak: Soak, s: int, moment: Moment, bathing: Array, out: Array, gas: Array, dosed: Array) -> None:
    first = soak.hour - moment.hour
    if first < 1.0 or first + soak.hours >= len(bathing):
        return
    nature, left, at = moment.scene.nature, soak.hours, first
    while left > 1e-9:
        row = int(at)
        part = min(left, row + 1.0 - at)
        bathing[row, s] += soak.load * soak.people * part
        gas[row, s] += part * (nature.jets + soak.blower * nature.air)
        left, at = left - part, at + part + 1e-12
    row = min(int(first + soak.hours), len(out) - 1)
    out[row, s] += soak.people
    if soak.logged and soak.obeys < moment.choices.after_soak:
        dosed[row, s] += soak.people * soak.hours * 2.0


def _values(moment: Moment, levers: Array, future: _Future) -> Array:
    """Mean hours in band less prices, of each candidate, shape (C,)."""
    tank = _dosed(moment, levers, future)
    count, scenarios = len(levers), future.bathing.shape[1]
    after = np.repeat(levers[:, 5], scenarios) * np.tile(future.error, count)
    active = LABEL["monopersulfate"] * moment.scene.nature.strength["monopersulfate"]
    after, most = after * active, _cap(moment) * active
    total, hour, row = np.zeros(count * scenarios), moment.hour, 0
    hours = len(future.bathing)
    while row < hours:
        stretch = _stretch(future, row)
        tank.bathe(np.tile(future.bathing[row], count), np.tile(future.out[row], count), hour)
        tank.step(hour, float(stretch), np.tile(future.gas[row], count))
        if future.dosed[row].any():
            tank.dose("monopersulfate", np.minimum(after * np.tile(future.dosed[row], count), most))
        total += stretch * _worth(tank)
        hour, row = hour + stretch, row + stretch
    things = (levers[:, :3] != 0.0).sum(axis=1)
    return np.asarray(total.reshape(count, scenarios).mean(axis=1) / hours - 0.002 * things)


def _stretch(future: _Future, row: int) -> int:
    """Hours until somebody bathes or doses in any future, at most three."""
    for length in range(1, 4):
        at = row + length
        if at >= len(future.bathing) or row == 0 or future.bathing[at - 1].any() or future.dosed[at - 1].any():
            return max(1, length - 1) if length > 1 and at < len(future.bathing) else 1
        if future.bathing[at].any() or future.dosed[at].any():
            return length
    return 3


def _dosed(moment: Moment, levers: Array, future: _Future) -> Tank:
    """The batch after the visit's additions, as this keeper's hands make them."""
    scenarios = future.bathing.shape[1]
    tank = moment.tank.batch(len(levers) * scenarios)
    tank.rounds = 3
    wide = np.repeat(levers, scenarios, axis=0)
    strength, scoop = moment.scene.nature.strength, moment.scene.house.scoop
    doses = {
        "sodium-bisulfate": np.maximum(wide[:, 0], 0.0),
        "sodium-carbonate": np.maximum(-wide[:, 0] / 5.0, 0.0),
        "sodium-bicarbonate": wide[:, 1],
        "monopersulfate": wide[:, 2],
    }
    for substance, grams in doses.items():
        tank.dose(substance, grams * LABEL[substance] * strength[substance] * scoop[substance])
    tank.grams, tank.count = 20.0 * wide[:, 3], np.maximum(wide[:, 3], 1e-6)
    tank.opening = wide[:, 4]
    for _ in range(3):
        tank.refresh(moment.hour)
    return tank


def _worth(tank: Tank) -> Array:
    """Worth of an hour: 1 in band, less a soft distance from its inside, and a price far out."""
    inside, soft = np.ones(len(tank.ph), bool), np.zeros(len(tank.ph))
    columns = {"bromine": tank.bromine, "pH": tank.ph, "alkalinity": tank.alkalinity, "index": tank.index}
    for name, value in columns.items():
        low, high = BAND[name]
        inside &= (value >= low) & (value <= high)
        edge = 0.15 * (high - low) if name != "index" else 0.05
        away = np.maximum(low + edge - value, 0.0) + np.maximum(value - high + edge, 0.0)
        soft += np.minimum(away / (high - low), 1.0) if name != "index" else np.minimum(away, 1.0)
    far = (tank.bromine < 1.0) | (tank.bromine > 10.0)
    return inside - 0.3 * soft - 0.5 * far
