"""Fresh water brought into its aims: alkalinity, then pH, then calcium, each in part, and air before any base.

Acid and base never follow one another in one fill, but where bicarbonate had to go in first and the pH stays high.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tubwater.advice.aeration import has_air
from tubwater.advice.decide import Kit
from tubwater.advice.safety import SCALE_HIGH, cap_grams
from tubwater.advice.solve import grams_for
from tubwater.advice.tap import is_hard
from tubwater.advice.timeline import Timeline
from tubwater.facts import Limits, defaults
from tubwater.facts.quantity import Quantity
from tubwater.tub import Product, Reason, StepKind

__all__ = ["Balance", "rounds_in"]

_PLACE = {
    Quantity.TOTAL_ALKALINITY: 0.35,
    Quantity.PH: 0.35,
    Quantity.CALCIUM_HARDNESS: 0.2,
}  # within the aim (judgement)
_DEAD = 0.1  # of the aim's width: so little outside is not worth an addition (judgement)
_DOWN_TO = 0.65  # alkalinity is lowered no further into its aim than this (judgement)
_DOWN_TO_HARD = 0.15  # where calcium stays high, low alkalinity keeps scale away (judgement)
_ROUNDS = 4  # of acid and air at one visit, three hours beside the tub (judgement)
_LEAST_ROUND = 0.4  # of the first; less acid is not worth its wait (judgement)
_ROUND_MINUTES = 45.0
_AIRED_PH = 0.1  # above the lower aim: where air brings a low pH (judgement)
_REST_PH = 0.2  # the same between two rounds of acid, so that the next has room (judgement)
_SPARE = 1.25  # of an oxidizer, that room is made for: the water moves until it goes in (judgement)
_DRIFT_DAYS = 4.0  # in which the pH may not climb out of its aim (judgement)


class Balance:
    """Writes the balancing of one fill onto its timeline."""

    def __init__(self, line: Timeline, kit: Kit, rounds: int = _ROUNDS) -> None:
        self.line, self.kit, self.case = line, kit, line.case
        self.notes: list[Reason] = []
        self.rounds = rounds
        self._acid = self._base = False
        self._scale = SCALE_HIGH

    def steady(self) -> None:
        """Before the oxidizer: soft water gets bicarbonate, acidic water air, so that the oxidizer has room."""
        self._raise(Quantity.TOTAL_ALKALINITY, self.kit.bicarbonate, "steady-first")
        limits = self._limits(Quantity.PH)
        if self._median(Quantity.PH) < limits.aim_low:
            self.line.aerate(limits.aim_low + _AIRED_PH, self._reason(Quantity.PH, "air-out"))

    def levels(self) -> bool:
        """Alkalinity, pH and calcium; whether anything was done."""
        before = len(self.line.steps)
        self._raise(Quantity.TOTAL_ALKALINITY, self.kit.bicarbonate, "raise-alkalinity")
        self._lower_alkalinity()
        self._ph()
        self._raise(Quantity.CALCIUM_HARDNESS, self.kit.calcium, "raise-calcium")
        self._tell_low()
        return any(s.kind in (StepKind.DOSE, StepKind.AERATE) for s in self.line.steps[before:])

    def make_room(self, oxidizer: Product, grams: float) -> None:
        """Acid before an alkaline oxidizer that would take the pH too high, air before an acid one."""
        high = self._sanitizer_high
        if grams <= 0.0 or self.line.fits(oxidizer, grams, high):
            return
        limits = self._limits(Quantity.PH)
        if self.case.products.compositions[oxidizer.name].alkalinity > 0.0:
            self._acid_until_fits(oxidizer, grams)
        else:
            middle = 0.5 * (limits.aim_low + limits.aim_high)
            self.line.aerate(middle, self._reason(Quantity.PH, "air-out"), self._scale)

    def _acid_until_fits(self, oxidizer: Product, grams: float) -> None:
        """As much acid as gives an alkaline oxidizer room, by pH and scale, and no more than the pH bears."""
        acid, limits = self.kit.acid, self._limits(Quantity.PH)
        if acid is None or self._base:
            return
        top = limits.aim_low + _PLACE[Quantity.PH] * _width(limits)
        goals = [float(goal) for goal in np.arange(top, limits.bathing_low, -0.1)]
        tried = [self.line.nearest(acid, grams_for(self.line.beside, self.case, acid, Quantity.PH, g)) for g in goals]
        fits = (t for t in tried if t and self.line.fits_after(acid, t, oxidizer, _SPARE * grams, self._sanitizer_high))
        found = next(fits, 0.0)
        reason = self._reason(Quantity.PH, "room-for-chlorine")
        given = self.line.dose(acid, found, reason, Quantity.PH, self._sanitizer_high) if found else 0.0
        self._acid = self._acid or given > 0.0

    def _raise(self, quantity: Quantity, product: Product | None, kind: str) -> None:
        limits, now = self._limits(quantity), self._median(quantity)
        base = quantity is Quantity.TOTAL_ALKALINITY
        goal = limits.aim_low + _PLACE[quantity] * _width(limits)
        begun = base and self._base and self._median(Quantity.PH) <= self._limits(Quantity.PH).aim_high
        least = goal if begun else limits.aim_low  # what was begun is brought to its goal
        if product is None or now >= least - _DEAD * _width(limits) or (base and self._acid):
            return
        given = self._give(product, quantity, goal, "rest-of-alkalinity" if begun else kind)
        self._base = self._base or (base and given)

    def _lower_alkalinity(self) -> None:
        """Rounds of acid and air: each takes alkalinity, and the air brings the pH back for the next."""
        quantity, acid = Quantity.TOTAL_ALKALINITY, self.kit.acid
        limits = self._limits(quantity)
        goal = limits.aim_low + (_DOWN_TO_HARD if is_hard(self.case) else _DOWN_TO) * _width(limits)
        if self._median(quantity) <= limits.aim_high + _DEAD * _width(limits) or self._base:
            return
        if acid is None:
            self.notes.append(Reason("no-acid-in-hand", {"value": self._median(quantity), "high": limits.aim_high}))
            return
        self._scale = max(SCALE_HIGH, float(np.quantile(self.line.beside.calcite(), 0.95)))  # never above today's
        begin, least, done = len(self.line.steps), 0.0, 0
        while done < self.rounds and (given := self._round(acid, goal, least)):
            least, done = max(least, _LEAST_ROUND * given), done + 1
        self._number(acid, begin, done)
        self._tell_rest(acid, goal)

    def _round(self, acid: Product, goal: float, least: float) -> float:
        """One part of acid, of ``least`` g, and the air after it; the grams that went in."""
        quantity = Quantity.TOTAL_ALKALINITY
        left, rest = self._median(quantity) - goal, self._limits(Quantity.PH).aim_low + _REST_PH
        if left < _DEAD * _width(self._limits(quantity)):
            return 0.0
        grams = grams_for(self.line.beside, self.case, acid, quantity, goal)
        reason = self._reason(quantity, "lower-alkalinity")
        given = self.line.dose(acid, grams, reason, quantity, self._sanitizer_high, parts=1, least=least)
        self._acid = self._acid or given > 0.0
        if given > 0.0:
            self.line.aerate(rest, self._reason(Quantity.PH, "air-after-acid"), self._scale)
        return given

    def _number(self, acid: Product, begin: int, rounds: int) -> None:
        parts = [i for i, s in enumerate(self.line.steps) if i >= begin and s.amount and s.amount.product == acid.name]
        for part, index in enumerate(parts, 1):
            self.line.steps[index] = replace(self.line.steps[index], part=part, parts=rounds)

    def _tell_rest(self, acid: Product, goal: float) -> None:
        """What is left to do on other days, where the rounds of this one do not get there."""
        limits, now = self._limits(Quantity.TOTAL_ALKALINITY), self._median(Quantity.TOTAL_ALKALINITY)
        if now <= limits.aim_high + _DEAD * _width(limits):
            return
        grams = grams_for(self.line.beside, self.case, acid, Quantity.TOTAL_ALKALINITY, goal)
        values: dict[str, float | str] = {
            "value": now,
            "goal": goal,
            "grams": grams,
            "product": acid.name,
            "rounds": float(np.ceil(grams / cap_grams(acid, self.line.litres))),
        }
        airless = not has_air(self.case.tub.equipment)
        self.notes.append(Reason("alkalinity-by-and-by" if airless else "alkalinity-in-rounds", values))

    def _tell_low(self) -> None:
        """Alkalinity that stays too low, since bicarbonate had no room before the acid and may not follow it."""
        limits, now = self._limits(Quantity.TOTAL_ALKALINITY), self._median(Quantity.TOTAL_ALKALINITY)
        if self.kit.bicarbonate is None or self._base or now >= limits.aim_low - _DEAD * _width(limits):
            return
        values: dict[str, float | str] = {"value": now, "low": limits.aim_low, "high": limits.aim_high}
        self.notes.append(Reason("bicarbonate-comes-next", values, limits.basis))

    def _ph(self) -> None:
        limits, now = self._limits(Quantity.PH), self._median(Quantity.PH)
        goal = limits.aim_low + _PLACE[Quantity.PH] * _width(limits)
        if now < limits.aim_low - _DEAD * _width(limits):
            aired = self.line.aerate(limits.aim_low + _AIRED_PH, self._reason(Quantity.PH, "air-out"))
            if not aired and self.kit.soda_ash and not self._acid:
                self._base = self._give(self.kit.soda_ash, Quantity.PH, goal, "raise-ph") or self._base
        elif max(now, self._drifted()) > limits.aim_high + _DEAD * _width(limits):
            self._give_acid(goal, "lower-ph")

    def _drifted(self) -> float:
        beside = self.line.beside
        later = beside.later(beside.state, _DRIFT_DAYS * 1440.0, covered=True)
        return float(np.median(later.ph))

    def _give_acid(self, goal: float, kind: str) -> None:
        """Acid, and after bicarbonate only where the pH is too high to bathe in."""
        now, limits = self._median(Quantity.PH), self._limits(Quantity.PH)
        if self.kit.acid is None or now <= goal or (self._base and now <= limits.bathing_high):
            return
        kind = "acid-after-bicarbonate" if self._base else kind
        self._acid = self._give(self.kit.acid, Quantity.PH, goal, kind) or self._acid

    def _give(self, product: Product, quantity: Quantity, goal: float, kind: str) -> bool:
        """Part of the dose that leads to ``goal``; a test tells the rest."""
        grams = defaults()["retest_share"].value * grams_for(self.line.beside, self.case, product, quantity, goal)
        reason, nearest = self._reason(quantity, kind), self.line.nearest(product, grams)
        return self.line.dose(product, nearest, reason, quantity, self._sanitizer_high) > 0.0

    def _reason(self, quantity: Quantity, kind: str) -> Reason:
        limits = self._limits(quantity)
        values: dict[str, float | str] = {
            "quantity": str(quantity),
            "value": self._median(quantity),
            "low": limits.aim_low,
            "high": limits.aim_high,
        }
        return Reason(kind, values, limits.basis)

    def _limits(self, quantity: Quantity) -> Limits:
        return self.case.limits(quantity)

    def _median(self, quantity: Quantity) -> float:
        return float(np.median(self.line.beside.observer().read(quantity)))

    @property
    def _sanitizer_high(self) -> float:
        return self._limits(self.case.sanitizer_quantity).bathing_high


def rounds_in(minutes: float | None) -> int:
    """How many rounds of acid and air fit into a visit."""
    return _ROUNDS if minutes is None else int(np.clip(minutes // _ROUND_MINUTES, 1, _ROUNDS))


def _width(limits: Limits) -> float:
    return limits.aim_high - limits.aim_low
