"""The prior: what may be true of a tub and its water before anything was read.

Every unknown is a standard normal number; a transport turns it into a quantity with the median, spread and
range of the defaults.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tubwater.belief.transport import rare, transport
from tubwater.chemistry import (
    KG_PER_LITRE,
    MG_PER_EQ_CACO3,
    MG_PER_MOL,
    Water,
    at_pco2,
    monopersulfate_rate,
    water_at_ph,
)
from tubwater.dynamics import GRAMS_BR2_PER_MOL, Mode, Rates
from tubwater.facts import Default, defaults
from tubwater.facts.quantity import Quantity
from tubwater.tub import Sanitizer, Tub, VolumeBasis

__all__ = ["DRIFTING", "FILL", "Prior", "prior_of"]

Array = NDArray[np.float64]

_TUB = (
    "volume_factor",
    "idle_decay_per_day",
    "kla_covered_per_h",
    "kla_open_per_h",
    "kla_water_jets_per_h",
    "kla_air_jets_per_h",
    "bather_demand_g_br2_per_hour",
    "bather_fast_share",
    "slow_demand_hours",
    "tablet_release_g_per_day",
    "carry_out_litres_per_exit",
    "leak_litres_per_day",
)
FILL = (
    "fill_total_alkalinity_mg",
    "fill_ph",
    "fill_calcium_hardness_mg",
    "fill_sulfate_mg",
    "fill_chloride_mg",
    "magnesium_share",
)
_WATER = (
    "total_alkalinity_mg",
    "pco2_ratio",
    "calcium_hardness_mg",
    "sulfate_mg",
    "chloride_mg",
    "bromide_bank_mg",
    "sanitizer_mg",
    "hydantoin_mg",
    "demand_mg",
)
_CHLORINE_WATER = ("cyanuric_acid_mg",)
DRIFTING = (
    "idle_decay_per_day",
    "kla_covered_per_h",
    "kla_air_jets_per_h",
    "bather_demand_g_br2_per_hour",
    "tablet_release_g_per_day",
    "leak_litres_per_day",
)
_STILL = ("kla_open_per_h", "kla_water_jets_per_h")
_FROM_FILL = {
    "fill_total_alkalinity_mg": Quantity.TOTAL_ALKALINITY,
    "fill_ph": Quantity.PH,
    "fill_calcium_hardness_mg": Quantity.CALCIUM_HARDNESS,
    "fill_sulfate_mg": Quantity.SULFATE,
    "fill_chloride_mg": Quantity.CHLORIDE,
}
_USED = {  # of a water in use, what the tap gives of it
    "total_alkalinity_mg": Quantity.TOTAL_ALKALINITY,
    "calcium_hardness_mg": Quantity.CALCIUM_HARDNESS,
    "sulfate_mg": Quantity.SULFATE,
    "chloride_mg": Quantity.CHLORIDE,
}
_FILL_SHARE = 0.5  # probability that a water in use is still like the stated fill (judgement)
_REPORT_SPREAD = 0.12  # relative one-sigma of a utility's yearly mean for the water of one day (judgement)
_REPORT_PH_SPREAD = 0.2
_COLD = 12.0  # degC of fill water where nobody says (judgement)


@dataclass(frozen=True, eq=False)
class Prior:
    """A prior over one tub.

    Attributes:
        tub: the tub. names: the unknowns, in the order of the latent rows. table: a default for each name.
        core: how many of the names stand for the tub and its fill water; the rest for a water in use.
    """

    tub: Tub
    names: tuple[str, ...]
    table: Mapping[str, Default]
    core: int = len(_TUB + FILL)

    @property
    def size(self) -> int:
        """Rows of the latent array."""
        return len(self.names)

    def values(self, latent: Array) -> dict[str, Array]:
        """Unknowns by name, in the unit of their defaults, from latent (size, N) or its first rows."""
        return {name: self.value(name, row) for name, row in zip(self.names, latent, strict=False)}

    def value(self, name: str, latent: Array) -> Array:
        """One unknown from its latent row."""
        default = self.table[name]
        if name == "leak_litres_per_day":
            return rare(default, 1.0 - default.zero_share, latent)
        return transport(default, latent)

    def rates(self, values: Mapping[str, Array]) -> Rates:
        """The tub's rates, shape (N,)."""
        return _rates(self.tub, values, self.table, self._decay(values["idle_decay_per_day"]))

    def drifted(self, rates: Rates, latent: Array) -> Rates:
        """``rates`` after the rows of ``DRIFTING`` moved to those of ``latent``; fill and volume stay."""
        v = {name: self.value(name, latent[self.names.index(name)]) for name in (*DRIFTING, *_STILL)}
        decay = self._decay(v["idle_decay_per_day"])
        demand = v["bather_demand_g_br2_per_hour"] / GRAMS_BR2_PER_MOL
        release, leak = v["tablet_release_g_per_day"] / 24.0, v["leak_litres_per_day"] / 24.0
        return replace(rates, idle_decay=decay, demand=demand, release=release, leak=leak, kla=_kla(self.tub, v))

    def _decay(self, per_day: Array) -> Array:
        factor = self.table["ozone_decay_factor"].value if self.tub.equipment.ozone_or_uv else 1.0
        return per_day * factor / 24.0

    def water(self, values: Mapping[str, Array]) -> Water:
        """A water in use, shape (N,), its pH from the carbon dioxide it holds."""
        return _water(self.tub, values, self.table)


def prior_of(tub: Tub) -> Prior:
    """The prior for a tub: the defaults, centred on what its keeper states of volume and fill water."""
    table = dict(defaults())
    basis = {VolumeBasis.PLATE: "plate", VolumeBasis.METERED: "metered", VolumeBasis.SHAPE: "shape"}[tub.volume_basis]
    table["volume_factor"] = table[f"volume_factor_{basis}"]
    table["sanitizer_mg"] = table["bromine_mg" if tub.sanitizer is Sanitizer.BROMINE else "free_chlorine_mg"]
    for name, quantity in _FROM_FILL.items():
        if quantity in tub.fill.values:
            table[name] = _stated(table[name], tub.fill.values[quantity], quantity)
    for name, quantity in _USED.items():
        if quantity in tub.fill.values:
            table[name] = _leaning(table[name], tub.fill.values[quantity])
    extra = _CHLORINE_WATER if tub.sanitizer is Sanitizer.CHLORINE else ()
    return Prior(tub, _TUB + FILL + _WATER + extra, table)


def _stated(default: Default, value: float, quantity: Quantity) -> Default:
    spread = _REPORT_PH_SPREAD if quantity is Quantity.PH else _REPORT_SPREAD
    low, high = min(default.low, value), max(default.high, value)
    return default.replaced(value=max(value, 1e-3), spread=spread, low=low, high=high)


def _leaning(default: Default, fill: float) -> Default:
    """A water in use that may be like its fill or like any other: doses and evaporation have moved it from the fill.

    A log-normal with the mean and variance (of the logarithm) of that mixture.
    """
    apart = float(np.log(max(fill, default.low) / default.value))
    spread = float(np.hypot(default.spread, apart * np.sqrt(_FILL_SHARE * (1.0 - _FILL_SHARE))))
    value = default.value * float(np.exp(_FILL_SHARE * apart))
    return default.replaced(value=value, spread=spread, high=max(default.high, 2.0 * fill))


def _rates(tub: Tub, v: Mapping[str, Array], table: Mapping[str, Default], decay: Array) -> Rates:
    shape = v["volume_factor"].shape
    const = {name: np.full(shape, table[name].value) for name in _CONSTANTS}
    return Rates(
        litres=tub.litres * v["volume_factor"],
        idle_decay=decay,
        decay_q10=const["decay_q10"],
        kla=_kla(tub, v),
        demand=v["bather_demand_g_br2_per_hour"] / GRAMS_BR2_PER_MOL,
        fast_share=v["bather_fast_share"],
        slow_rate=1.0 / v["slow_demand_hours"],
        release=v["tablet_release_g_per_day"] / 24.0,
        release_exponent=const["release_mass_exponent"],
        carry_out=v["carry_out_litres_per_exit"],
        evaporation=const["evaporation_covered_litres_per_week"] / 168.0,
        leak=v["leak_litres_per_day"] / 24.0,
        monopersulfate_rate=const["monopersulfate_rate_factor"] * monopersulfate_rate(tub.temperature),
        air_pco2=const["pco2_air_atm"],
        fill=_fill_water(tub, v),
    )


_CONSTANTS = (
    "decay_q10",
    "release_mass_exponent",
    "evaporation_covered_litres_per_week",
    "monopersulfate_rate_factor",
    "pco2_air_atm",
)


def _kla(tub: Tub, v: Mapping[str, Array]) -> dict[Mode, Array]:
    """Gas exchange by mode; a tub without jets is as still when circulating as when open."""
    moving = v["kla_water_jets_per_h"] if tub.equipment.water_jets else 1.5 * v["kla_open_per_h"]
    bubbling = v["kla_air_jets_per_h"] if tub.equipment.air_jets else 2.0 * moving
    return {
        Mode.COVERED: v["kla_covered_per_h"],
        Mode.OPEN: v["kla_open_per_h"],
        Mode.CIRCULATING: np.maximum(moving, v["kla_open_per_h"]),
        Mode.SOAKING: np.maximum(bubbling, moving),
    }


def _fill_water(tub: Tub, v: Mapping[str, Array]) -> Water:
    """Fill water at the tub's temperature: what the tap gives, heated without losing carbon dioxide."""
    bare = _salts(
        tub.fill.values.get(Quantity.TEMPERATURE, _COLD),
        v["fill_total_alkalinity_mg"],
        v["fill_calcium_hardness_mg"],
        v["magnesium_share"],
        v["fill_sulfate_mg"],
        v["fill_chloride_mg"],
    )
    return water_at_ph(bare, v["fill_ph"], bare.alkalinity).replaced(temperature=tub.temperature)


def _water(tub: Tub, v: Mapping[str, Array], table: Mapping[str, Default]) -> Water:
    bare = _salts(
        tub.temperature,
        v["total_alkalinity_mg"],
        v["calcium_hardness_mg"] * np.sqrt(v["total_alkalinity_mg"] / table["total_alkalinity_mg"].value),
        v["magnesium_share"],
        v["sulfate_mg"],
        v["chloride_mg"],
    )
    active = "bromine" if tub.sanitizer is Sanitizer.BROMINE else "chlorine"
    per_mg = 1e-3 / (MG_PER_MOL["bromine"] if active == "bromine" else MG_PER_MOL["free chlorine"]) / KG_PER_LITRE
    bank = v["bromide_bank_mg"] if active == "bromine" else np.zeros(bare.shape)
    bromide = bank * 1e-3 / MG_PER_MOL["bromide"] / KG_PER_LITRE
    hydantoin = v["hydantoin_mg"] * 1e-3 / MG_PER_MOL["hydantoin"] / KG_PER_LITRE if active == "bromine" else 0.0
    salted = bare.plus(
        bromide=bromide,
        sodium=bromide,
        hydantoin=hydantoin,
        demand=v["demand_mg"] * 1e-3 / MG_PER_MOL["bromine"] / KG_PER_LITRE,
        cyanurate=v.get("cyanuric_acid_mg", 0.0) * 1e-3 / MG_PER_MOL["cyanuric acid"] / KG_PER_LITRE,
        **{active: v["sanitizer_mg"] * per_mg},
    )
    return at_pco2(salted, _gas(v) * table["pco2_air_atm"].value)


def _gas(v: Mapping[str, Array]) -> Array:
    """Carbon dioxide in the water over that in the air.

    Where alkalinity is high, keepers hold the pH with acid, which turns alkalinity into gas: the pH, not the gas, is
    then the ordinary one.
    """
    ordinary = defaults()["total_alkalinity_mg"].value
    value: Array = v["pco2_ratio"] * np.maximum(v["total_alkalinity_mg"] / ordinary, 1.0)
    return value


def _salts(
    celsius: float,
    alkalinity_mg: Array,
    calcium_mg: Array,
    magnesium_share: Array,
    sulfate_mg: Array,
    chloride_mg: Array,
) -> Water:
    """Water of given alkalinity, hardness and anions without carbonate; sodium or chloride closes the balance."""
    per_litre = 1e-3 / KG_PER_LITRE
    calcium = calcium_mg * per_litre / MG_PER_MOL["calcium hardness"]
    magnesium = calcium * magnesium_share
    sulfate = sulfate_mg * per_litre / MG_PER_MOL["sulfate"]
    chloride = chloride_mg * per_litre / MG_PER_MOL["chloride"]
    alkalinity = alkalinity_mg * per_litre / MG_PER_EQ_CACO3
    sodium = alkalinity + 2 * sulfate + chloride - 2 * calcium - 2 * magnesium
    spare = np.maximum(1e-4 - sodium, 0.0)
    return Water.of(
        celsius,
        calcium=calcium,
        magnesium=magnesium,
        sulfate=sulfate,
        chloride=chloride + spare,
        sodium=sodium + spare,
    )
