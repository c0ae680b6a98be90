"""A hidden tub: its water and how it changes, by rate laws that are not the project's.

Different from the model on purpose: the idle loss saturates or is of mixed order, the bathers' demand reacts by mass
action (that its slow part first breaks down the model has too, since the trial showed what a shock meets), the feeder
clogs and its release bends with opening and number, the cover is two resistances in series, carbon dioxide leaves
faster at high pH, the water swings in temperature and level, biofilm grows where the sanitizer is gone, and calcite
precipitates. Rates are drawn from published or judged ranges.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from .oracle import Constants, Oracle

__all__ = ["BR2", "CACO3", "PRODUCTS", "ROWS", "Nature", "Tank", "neutral"]

Array = NDArray[np.float64]
BR2 = 159.808  # g per mol of halogen(+1), as Br2
CACO3 = 50.043  # g CaCO3 per eq
ROWS = ("C", "Ca", "Mg", "Na", "K", "Cl", "SO4", "Br", "OX", "MPS", "DMH", "FAST", "LAG", "SCALE")
R = {name: i for i, name in enumerate(ROWS)}
_CHARGE = np.array(
    [{"Ca": 2, "Mg": 2, "Na": 1, "K": 1, "Cl": -1, "SO4": -2, "Br": -1, "MPS": -1}.get(r, 0) for r in ROWS]
)
_KG = 0.993  # kg of water per litre at 38 degC
# mol per g of pure substance (formula weights)
PRODUCTS: dict[str, dict[str, float]] = {
    "sodium-bicarbonate": {"C": 1 / 84.006, "Na": 1 / 84.006},
    "sodium-carbonate": {"C": 1 / 105.988, "Na": 2 / 105.988},
    "sodium-bisulfate": {"Na": 1 / 120.054, "SO4": 1 / 120.054},  # its one acid is in the charge balance
    "monopersulfate": {"K": 5 / 614.737, "SO4": 2 / 614.737, "MPS": 2 / 614.737},
    "bcdmh": {"OX": 2 / 241.472, "DMH": 1 / 241.472, "Cl": 1 / 241.472, "Br": -1 / 241.472},
}


@dataclass(frozen=True)
class Nature:
    """What this tub is, hidden from every keeper; the bound knows it.

    Attributes:
        litres: true volume full, L. decay: idle loss at 4 mg/L, 1/d. order: shape of the idle loss.
        half: mg/L as Br2 where a saturating loss is half; q10: per 10 K. bather: g Br2 per bather-hour.
        fast: share met at once. fast_rate: by mass action, kg/(mol h). lag_hours: of the rest.
        release: g/d of one 20 g tablet fully open. opening_power, count_power: how it bends.
        still, cover, jets, air: gas exchange 1/h: still surface, through the cover, jets, air jets.
        mps_rate: kg/(mol h) at 25 degC. mps_energy: kJ/mol. offset, swing: degC. carry: L per person.
        evaporation: L/d covered. sun: half-life of bromine in open water by day, h. growth: biofilm, mol/(kg h).
        drift: log factor on decay, release and bather demand by week, (3, weeks). clogs: hours of clogging (from, to).
        strength: true over stated strength by substance. fill: the tap water, (rows,).
    """

    litres: float
    decay: float
    order: str
    half: float
    q10: float
    bather: float
    fast: float
    fast_rate: float
    lag_hours: float
    release: float
    opening_power: float
    count_power: float
    still: float
    cover: float
    jets: float
    air: float
    mps_rate: float
    mps_energy: float
    temperature: float
    offset: float
    swing: float
    carry: float
    evaporation: float
    sun: float
    growth: float
    drift: Array
    clogs: tuple[tuple[float, float], ...]
    strength: dict[str, float]
    fill: Array

    def celsius(self, hour: float) -> float:
        """Water temperature, degC."""
        return self.temperature + self.offset + self.swing * np.sin(2.0 * np.pi * (hour - 10.0) / 24.0)

    def wander(self, which: int, hour: float) -> float:
        """Factor of a drifting rate, interpolated between weeks."""
        row = self.drift[which]
        return float(np.exp(np.interp(hour / 168.0, np.arange(len(row)), row)))

    def clogged(self, hour: float) -> float:
        """Factor of the feeder's release."""
        return 0.35 if any(a <= hour < b for a, b in self.clogs) else 1.0


def neutral(**mol: float) -> Array:
    """A water whose sodium (or chloride) closes the charge balance at ``alkalinity`` eq/kg, shape (rows,)."""
    alkalinity = mol.pop("alkalinity")
    x = np.zeros(len(ROWS))
    for name, value in mol.items():
        x[R[name]] = value
    missing = alkalinity - float(_CHARGE @ x)
    x[R["Na"] if missing >= 0 else R["Cl"]] += abs(missing)
    return x


@dataclass
class Tank:
    """The state of a batch of tubs of one nature, rows of shape (rows, B); the truth is a batch of one.

    Attributes:
        x: totals, mol/kg. litres: level, L. grams, count, opening: the feeder. constants: of the water.
    """

    nature: Nature
    x: Array
    litres: Array
    grams: Array
    count: Array
    opening: Array
    ph: Array
    constants: Constants
    oracle: Oracle | None = field(default=None, repr=False)
    rounds: int = 5  # of Newton, where the constants are frozen

    @classmethod
    def filled(cls, nature: Nature, x: Array, ph: float, oracle: Oracle) -> Tank:
        """A full tub of water ``x`` brought to ``ph`` by its carbonate."""
        x = x.copy()
        for _ in range(6):
            constants = oracle.constants(_elements(x), nature.celsius(0.0), ph)
            x[R["C"]] = constants.carbon_at(float(_CHARGE @ x), x[R["OX"]], ph)
        one = np.zeros(1)
        tank = cls(nature, x[:, None], one + nature.litres, one, one, one + 0.5, one + ph, constants, oracle)
        tank.refresh(0.0)
        return tank

    def batch(self, size: int) -> Tank:
        """Copies of one tub, with the chemistry frozen as it is now."""
        wide = {name: np.repeat(getattr(self, name), size) for name in ("litres", "grams", "count", "opening", "ph")}
        return Tank(self.nature, np.repeat(self.x, size, axis=1), constants=self.constants, oracle=None, **wide)

    def refresh(self, hour: float) -> None:
        """Take the constants anew from the reference code (a batch of one), or only the pH (a frozen batch)."""
        if self.oracle is not None:
            start = float(np.clip(self.ph[0], 4.0, 10.0))
            self.constants = self.oracle.constants(_elements(self.x[:, 0]), self.nature.celsius(hour), start)
            self.ph = np.array([self.constants.ph])
        else:
            self.ph = self.constants.solve(_CHARGE @ self.x, self.x[R["C"]], self.x[R["OX"]], self.ph, self.rounds)

    # What a perfect test would show

    @property
    def bromine(self) -> Array:
        """Active bromine, mg/L as Br2."""
        return self.x[R["OX"]] * BR2 * 1e3 * _KG

    @property
    def monopersulfate(self) -> Array:
        """Unreacted monopersulfate, mg/L as Br2."""
        return self.x[R["MPS"]] * BR2 * 1e3 * _KG

    @property
    def alkalinity(self) -> Array:
        """Total alkalinity, mg/L CaCO3."""
        return np.asarray(_CHARGE @ self.x) * CACO3 * 1e3 * _KG

    @property
    def calcium(self) -> Array:
        """Calcium hardness, mg/L CaCO3."""
        return self.x[R["Ca"]] * 2.0 * CACO3 * 1e3 * _KG

    @property
    def hardness(self) -> Array:
        """Total hardness, mg/L CaCO3."""
        return (self.x[R["Ca"]] + self.x[R["Mg"]]) * 2.0 * CACO3 * 1e3 * _KG

    @property
    def index(self) -> Array:
        """Saturation index of calcite."""
        return self.constants.index(self.ph, self.x[R["C"]], self.x[R["Ca"]])

    # What is done to it

    def dose(self, substance: str, grams: Array | float) -> None:
        """Grams of the pure substance in; its true strength is the caller's."""
        for name, per_gram in PRODUCTS[substance].items():
            self.x[R[name]] += per_gram * np.asarray(grams) / (self.litres * _KG)

    def bathe(self, bather_hours: Array | float, people: Array | float, hour: float) -> None:
        """Load of a stretch of a soak, and the water carried out (``people`` is 0 but at the end)."""
        mol = self.nature.bather * self.nature.wander(2, hour) * np.asarray(bather_hours) / BR2 / (self.litres * _KG)
        self.x[R["FAST"]] += mol * self.nature.fast
        self.x[R["LAG"]] += mol * (1.0 - self.nature.fast)
        self.litres = self.litres - self.nature.carry * np.asarray(people)

    def top_up(self) -> None:
        """Tap water to the line."""
        share = 1.0 - self.litres / self.nature.litres
        self.x = self.x * (1.0 - share) + self.nature.fill[:, None] * share
        self.litres = np.full_like(self.litres, self.nature.litres)

    def drain(self, litres: float) -> None:
        """Some water out, and tap water to the line."""
        self.litres = np.maximum(self.litres - litres, 1.0)
        self.top_up()

    def step(self, hour: float, hours: float, gas: Array | float, light: Array | float = 0.0) -> None:
        """``hours`` on from ``hour``; ``gas`` the exchange rate 1/h, ``light`` the share of the step in open sun."""
        celsius = self.nature.celsius(hour + 0.5 * hours)
        self._feed(hour, hours, celsius)
        self._oxidize(hours, celsius)
        self._lose(hour, hours, celsius, light)
        self._scale(hours)
        self.refresh(hour + hours)
        self._vent(hours, gas)
        self.refresh(hour + hours)
        self._evaporate(hours)

    def _feed(self, hour: float, hours: float, celsius: float) -> None:
        n = self.nature
        full = np.maximum(20.0 * self.count, 1e-9)
        rate = n.release / 24.0 * n.wander(1, hour) * n.clogged(hour) * 1.04 ** (celsius - 38.0)
        rate = rate * self.count**n.count_power * self.opening**n.opening_power * (self.grams / full) ** (2.0 / 3.0)
        gone = np.minimum(rate * hours, self.grams)
        self.grams = self.grams - gone
        self.dose("bcdmh", gone * n.strength["bcdmh"])
        short = np.maximum(
            -self.x[R["Br"]], 0.0
        )  # no bank left: the chlorine stays as it is, and counts as the same oxidant
        self.x[R["Br"]] += short
        self.x[R["Cl"]] -= short

    def _oxidize(self, hours: float, celsius: float) -> None:
        n = self.nature
        if not self.x[R["MPS"]].any():
            return
        warm = np.exp(n.mps_energy / 0.0083145 * (1.0 / 298.15 - 1.0 / (celsius + 273.15)))
        self._react("MPS", "Br", n.mps_rate * warm * hours, give=("OX", "SO4"))

    def _react(self, a: str, b: str, rate_time: Array | float, give: tuple[str, ...]) -> None:
        """Second order, exact over the step."""
        first, second = self.x[R[a]], self.x[R[b]]
        apart = first - second
        apart = np.where(np.abs(apart) < 1e-14, 1e-14, apart)
        fall = np.exp(np.clip(-apart * rate_time, -60.0, 60.0))
        done = first * second * (1.0 - fall) / np.maximum(np.abs(first - second * fall), 1e-30)
        done = np.clip(np.abs(done), 0.0, np.minimum(first, second))
        self.x[R[a]] -= done
        self.x[R[b]] -= done
        for name in give:
            self.x[R[name]] += done

    def _lose(self, hour: float, hours: float, celsius: float, light: Array | float) -> None:
        n = self.nature
        ripe = self.x[R["LAG"]] * -np.expm1(-hours / n.lag_hours)
        self.x[R["LAG"]] -= ripe
        mg = self.bromine
        self.x[R["FAST"]] += ripe + n.growth * hours * np.clip(1.0 - mg, 0.0, 1.0)
        self._react("FAST", "OX", n.fast_rate * hours, give=("Br",))
        pace = n.decay / 24.0 * n.wander(0, hour) * n.q10 ** ((celsius - 38.0) / 10.0) * self._shape(self.bromine)
        pace = pace + np.log(2.0) / n.sun * np.asarray(light)
        gone = self.x[R["OX"]] * -np.expm1(-pace * hours)
        self.x[R["OX"]] -= gone
        self.x[R["Br"]] += gone

    def _shape(self, mg: Array) -> Array:
        """Idle loss rate over that at 4 mg/L."""
        if self.nature.order == "saturating":
            return (self.nature.half + 4.0) / (self.nature.half + mg)
        if self.nature.order == "mixed":
            return 0.6 + 0.4 * mg / 4.0
        return np.ones_like(mg)

    def _scale(self, hours: float) -> None:
        over = 10.0 ** np.clip(self.index, -2.0, 1.5) - 1.0
        starts = (self.x[R["SCALE"]] > 0.0) | (self.index > 0.5)
        grown = np.where((over > 0.0) & starts, np.minimum(5e-7 * over * hours, 2e-5), 0.0)
        back = np.where(over < 0.0, np.minimum(-2e-7 * over * hours, self.x[R["SCALE"]]), 0.0)
        for name, sign in (("C", -1.0), ("Ca", -1.0), ("SCALE", 1.0)):
            self.x[R[name]] += sign * (grown - back)

    def _vent(self, hours: float, gas: Array | float) -> None:
        share, _ = self.constants.shares(self.ph)
        excess = share * self.x[R["C"]] - self.constants.solubility * 0.00042
        faster = 1.0 + 0.3 * 10.0 ** np.clip(self.ph - 8.2, -3.0, 1.0)
        self.x[R["C"]] += excess * np.expm1(-np.asarray(gas) * faster * hours)

    def _evaporate(self, hours: float) -> None:
        lost = self.nature.evaporation / 24.0 * hours
        self.x[: R["SCALE"]] *= self.litres / (self.litres - lost)
        self.litres = self.litres - lost

    # Gas exchange by what is going on, 1/h

    @property
    def covered(self) -> float:
        """Cover on: the still surface and the cover's leakage in series."""
        return 1.0 / (1.0 / self.nature.still + 1.0 / self.nature.cover)


def _elements(x: Array) -> dict[str, float]:
    """Totals as the reference code calls them; the monopersulfate ion stands in as chloride."""
    v = {name: float(x[i]) for name, i in R.items()}
    return {
        "C(4)": v["C"],
        "Ca": v["Ca"],
        "Mg": v["Mg"],
        "Na": v["Na"],
        "K": v["K"],
        "Cl": v["Cl"] + v["MPS"],
        "S(6)": v["SO4"],
        "Br": v["Br"],
        "Brx": v["OX"],
    }
