"""Equilibrium constants and properties of water as functions of temperature.

Every function takes degC (any shape) and returns log10 K, pK or the named property.  Validity is 5-45 degC
unless said.  Sources: Plummer & Busenberg 1982, Geochim. Cosmochim. Acta 46:1011 (carbonates); the database
``phreeqc.dat`` of IPhreeqc 3.8.6 (22 May 2024) for water, sulfate, magnesium, bisulfate, ammonia and boric acid,
and its older edition where said; Wahman & Alexander 2019, doi 10.1089/ees.2018.0387, and O'Brien, Morris &
Butler 1974 as read in the US EPA cyanurate programs, for cyanurates; Morris 1966, J. Phys. Chem. 70:3798 for HOCl.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "DEFAULT",
    "LOG_K",
    "REFERENCE_2024",
    "REFERENCE_OLDER",
    "Constants",
    "debye_hueckel",
    "density",
    "dielectric",
    "log_k1_carbonate",
    "log_k2_carbonate",
    "log_k_aragonite",
    "log_k_bisulfate",
    "log_k_calcite",
    "log_k_calcium_bicarbonate_pair",
    "log_k_calcium_borate_pair",
    "log_k_calcium_carbonate_pair",
    "log_k_calcium_sulfate_pair",
    "log_k_gypsum",
    "log_k_henry_co2",
    "log_k_magnesium_bicarbonate_pair",
    "log_k_magnesium_carbonate_pair",
    "log_k_magnesium_hydroxide_pair",
    "log_k_magnesium_sulfate_pair",
    "log_k_potassium_sulfate_pair",
    "log_k_sodium_bicarbonate_pair",
    "log_k_sodium_carbonate_pair",
    "log_k_sodium_sulfate_pair",
    "log_k_vaterite",
    "log_k_water",
    "pk_ammonium",
    "pk_boric",
    "pk_cyanurate",
    "pk_hobr",
    "pk_hocl",
    "pk_hydantoin",
]

Array = NDArray[np.float64]
_R_LN10 = 8.314463 * np.log(10.0)
_CAL = 4.184


@dataclass(frozen=True)
class Constants:
    """The choices between sources that matter.

    Attributes:
        pk_hobr_25: pKa of HOBr at 25 degC; 8.65 is a common compilation value, +-0.1 (8.58 Thermoddem,
            8.8 the group of Heeb et al. 2014).
        hobr_enthalpy: J/mol; 18.9 kJ from Thermoddem, citing Shock et al. 1997.
        pk_hydantoin: pKa of 5,5-dimethylhydantoin; 9.19 from memory (Petterson & Grzeskowiak 1959).
        calcium_borate: whether Ca2+ binds B(OH)4- (minteq.v4; absent from phreeqc.dat).
        sodium_pairs: whether NaHCO3 and NaSO4- are counted (phreeqc.dat).
        cyanurate_at_25: True for the 25 degC set of O'Brien et al. (with its pKa of HOCl) at every temperature.
        pairs_2024: pairs of Na, K and Mg with SO4-- and of Na with HCO3- of the phreeqc.dat of 2024, instead of its
            older edition's (the later come with other activity coefficients, so the older are the default).
        carbonates_2024: calcite and CaHCO3+ of the phreeqc.dat of 2024 instead of Plummer & Busenberg 1982.
        sodium_carbonate: whether NaCO3- is counted (older phreeqc.dat; dropped from that of 2024).
    """

    pk_hobr_25: float = 8.65
    hobr_enthalpy: float = 18.9e3
    pk_hydantoin: float = 9.19
    calcium_borate: bool = True
    sodium_pairs: bool = True
    cyanurate_at_25: bool = False
    pairs_2024: bool = False
    carbonates_2024: bool = False
    sodium_carbonate: bool = False


DEFAULT = Constants()
REFERENCE_OLDER = Constants(calcium_borate=False, sodium_carbonate=True)
REFERENCE_2024 = Constants(calcium_borate=False, pairs_2024=True, carbonates_2024=True)


def _kelvin(celsius: ArrayLike) -> Array:
    return np.asarray(celsius, dtype=float) + 273.15


def _analytic(t: Array, *terms: float) -> Array:
    """A + B T + C/T + D log10 T + E/T^2 + F T^2, T in K."""
    a, b, c, d, e, f = (*terms, *([0.0] * (6 - len(terms))))
    value: Array = a + b * t + c / t + d * np.log10(t) + e / t**2 + f * t**2
    return value


def _van_t_hoff(t: Array, log_k_25: float, enthalpy: float) -> Array:
    value: Array = log_k_25 - enthalpy / _R_LN10 * (1.0 / t - 1.0 / 298.15)
    return value


def density(celsius: ArrayLike) -> Array:
    """Pure water, kg/m3 (Kell 1975, from memory; within 0.003 of CoolProp over 5-45 degC); 992.97 at 38."""
    t = np.asarray(celsius, dtype=float)
    top = 999.83952 + t * (
        16.945176 + t * (-7.9870401e-3 + t * (-46.170461e-6 + t * (105.56302e-9 - t * 280.54253e-12)))
    )
    value: Array = top / (1.0 + 16.87985e-3 * t)
    return value


def dielectric(celsius: ArrayLike) -> Array:
    """Relative permittivity (Malmberg & Maryott 1956, from memory; within 0.2 % of IAPWS); 73.82 at 38."""
    t = np.asarray(celsius, dtype=float)
    value: Array = 87.740 + t * (-0.40008 + t * (9.398e-4 - t * 1.410e-6))
    return value


def debye_hueckel(celsius: ArrayLike) -> tuple[Array, Array]:
    """Coefficients A (kg/mol)^0.5 and B (kg/mol)^0.5/Angstrom; 0.522 and 0.331 at 38 (from memory forms)."""
    rho = density(celsius) / 1000.0
    et = dielectric(celsius) * _kelvin(celsius)
    return 1.82483e6 * np.sqrt(rho) * et**-1.5, 50.2916 * np.sqrt(rho) * et**-0.5


def log_k_water(celsius: ArrayLike) -> Array:
    """H2O = H+ + OH- (phreeqc.dat 2024); -13.591 at 38."""
    return _analytic(_kelvin(celsius), 293.29227, 0.1360833, -10576.913, -123.73158, 0.0, -6.996455e-5)


def log_k_henry_co2(celsius: ArrayLike) -> Array:
    """CO2(g) = CO2(aq), mol/kg/atm (Plummer & Busenberg 1982); -1.606 at 38."""
    return _analytic(_kelvin(celsius), 108.3865, 0.01985076, -6919.53, -40.45154, 669365.0)


def log_k1_carbonate(celsius: ArrayLike) -> Array:
    """CO2 + H2O = H+ + HCO3- (Plummer & Busenberg 1982); -6.302 at 38."""
    return _analytic(_kelvin(celsius), -356.3094, -0.06091964, 21834.37, 126.8339, -1684915.0)


def log_k2_carbonate(celsius: ArrayLike) -> Array:
    """HCO3- = H+ + CO3-- (Plummer & Busenberg 1982); -10.233 at 38."""
    return _analytic(_kelvin(celsius), -107.8871, -0.03252849, 5151.79, 38.92561, -563713.9)


def log_k_calcite(celsius: ArrayLike, constants: Constants = DEFAULT) -> Array:
    """Calcite: Plummer & Busenberg 1982 (+-0.02), -8.480 at 25 and -8.565 at 38, or phreeqc.dat 2024, -8.595 at 38."""
    if constants.carbonates_2024:
        return _analytic(_kelvin(celsius), 17.118, -0.046528, -3496.0)
    return _analytic(_kelvin(celsius), -171.9065, -0.077993, 2839.319, 71.595)


def log_k_aragonite(celsius: ArrayLike) -> Array:
    """Aragonite (Plummer & Busenberg 1982, +-0.02); -8.430 at 38."""
    return _analytic(_kelvin(celsius), -171.9773, -0.077993, 2903.293, 71.595)


def log_k_vaterite(celsius: ArrayLike) -> Array:
    """Vaterite (Plummer & Busenberg 1982, +-0.02); -7.913 at 25, -8.031 at 38."""
    return _analytic(_kelvin(celsius), -172.1295, -0.077993, 3074.688, 71.595)


def log_k_gypsum(celsius: ArrayLike) -> Array:
    """Gypsum (older phreeqc.dat); -4.594 at 38."""
    return _analytic(_kelvin(celsius), 68.2401, 0.0, -3221.51, -25.0627)


def pk_boric(celsius: ArrayLike) -> Array:
    """B(OH)3 + H2O = B(OH)4- + H+ (phreeqc.dat); 9.14 at 38."""
    return -_van_t_hoff(_kelvin(celsius), -9.24, 3224.0 * _CAL)


def pk_hocl(celsius: ArrayLike, constants: Constants = DEFAULT) -> Array:
    """HOCl = H+ + OCl- (Morris 1966, +-0.03); 7.537 at 25, 7.445 at 38; 7.54 with ``cyanurate_at_25``."""
    t = _kelvin(celsius)
    if constants.cyanurate_at_25:
        return np.full(t.shape, 7.54)
    value: Array = 3000.0 / t - 10.0686 + 0.0253 * t
    return value


def pk_hobr(celsius: ArrayLike, constants: Constants = DEFAULT) -> Array:
    """HOBr = H+ + OBr-; 8.65 at 25 and 8.51 at 38 by default, +-0.1."""
    return -_van_t_hoff(_kelvin(celsius), -constants.pk_hobr_25, constants.hobr_enthalpy)


def pk_ammonium(celsius: ArrayLike) -> Array:
    """NH4+ = NH3 + H+ (phreeqc.dat); 9.244 at 25, 8.863 at 38."""
    t = _kelvin(celsius)
    value: Array = -(0.6322 - 0.001225 * t - 2835.76 / t)
    return value


def pk_hydantoin(celsius: ArrayLike, constants: Constants = DEFAULT) -> Array:
    """Dimethylhydantoin; its temperature dependence is not known."""
    return np.full(np.shape(celsius), constants.pk_hydantoin)


def pk_cyanurate(celsius: ArrayLike, constants: Constants = DEFAULT) -> dict[str, Array]:
    """The cyanurate ladder: acid pKs, and pKs of HOCl release (mol/kg).

    Three constants follow temperature (Wahman & Alexander 2019, 5-35 degC; above that an extrapolation), the
    others are those of O'Brien, Morris & Butler 1974 at 25 degC.
    """
    t = np.full(np.shape(celsius), 298.15) if constants.cyanurate_at_25 else _kelvin(celsius)
    fixed = constants.cyanurate_at_25
    acid = np.full(t.shape, 6.88) if fixed else 1743.0 / t + 1.12
    mono = np.full(t.shape, 5.62) if fixed else 2229.0 / t - 1.65
    di = np.full(t.shape, 4.51) if fixed else 2028.0 / t - 2.15
    constant = {"H2Cy": 11.40, "HCy": 13.5, "HCl2Cy": 3.75, "H2ClCy": 5.33, "HClCy": 10.12, "Cl3Cy": 1.80}
    return {"H3Cy": acid, "mono": mono, "di": di} | {k: np.full(t.shape, v) for k, v in constant.items()}


def log_k_bisulfate(celsius: ArrayLike) -> Array:
    """H+ + SO4-- = HSO4- (phreeqc.dat, +-0.02); 1.988 at 25, 2.117 at 38."""
    return _analytic(_kelvin(celsius), -56.889, 0.006473, 2307.9, 19.8858)


def log_k_calcium_carbonate_pair(celsius: ArrayLike) -> Array:
    """Ca++ + CO3-- = CaCO3 dissolved (Plummer & Busenberg 1982, +-0.14); 3.224 at 25, 3.359 at 38."""
    return _analytic(_kelvin(celsius), -1228.732, -0.299444, 35512.75, 485.818)


def log_k_calcium_bicarbonate_pair(celsius: ArrayLike, constants: Constants = DEFAULT) -> Array:
    """Ca++ + HCO3- = CaHCO3+: Plummer & Busenberg 1982 (+-0.07), 1.106 and 1.171 at 38, or that of 2024, 0.834."""
    t = _kelvin(celsius)
    if constants.carbonates_2024:
        return _analytic(t, -6.009, 3.377e-2, 2044.0) + log_k2_carbonate(celsius)
    return _analytic(t, 1209.120, 0.31294, -34765.05, -478.782)


def log_k_calcium_sulfate_pair(celsius: ArrayLike) -> Array:
    """Ca++ + SO4-- = CaSO4 dissolved (phreeqc.dat, +-0.1); 2.25 at 25, 2.291 at 38."""
    return _van_t_hoff(_kelvin(celsius), 2.25, 1325.0 * _CAL)


def log_k_magnesium_carbonate_pair(celsius: ArrayLike) -> Array:
    """Mg++ + CO3-- = MgCO3 dissolved (phreeqc.dat, +-0.1); 2.98 at 25, 3.066 at 38."""
    return _analytic(_kelvin(celsius), 0.991, 0.00667)


def log_k_magnesium_bicarbonate_pair(celsius: ArrayLike) -> Array:
    """Mg++ + HCO3- = MgHCO3+ (phreeqc.dat, +-0.1); 1.068 at 25, 1.100 at 38."""
    from_ions = _analytic(_kelvin(celsius), 48.6721, 0.03252849, -2614.335, -18.00263, 563713.9)
    return from_ions + log_k2_carbonate(celsius)


def log_k_magnesium_sulfate_pair(celsius: ArrayLike, constants: Constants = DEFAULT) -> Array:
    """Mg++ + SO4-- = MgSO4 dissolved: older phreeqc.dat 2.37 at 25 and 2.509 at 38, or that of 2024, 2.42 at 25."""
    t = _kelvin(celsius)
    return _analytic(t, 0.0, 9.64e-3, -136.0) if constants.pairs_2024 else _van_t_hoff(t, 2.37, 4550.0 * _CAL)


def log_k_potassium_sulfate_pair(celsius: ArrayLike, constants: Constants = DEFAULT) -> Array:
    """K+ + SO4-- = KSO4-: older phreeqc.dat 0.85 at 25 and 0.94 at 38, or that of 2024, 1.18 at 25."""
    t = _kelvin(celsius)
    if constants.pairs_2024:
        return _analytic(t, -3.0246, 9.986e-3, 0.0, 0.0, 1.093e5)
    return _analytic(t, 3.106, 0.0, -673.6)


def log_k_sodium_bicarbonate_pair(celsius: ArrayLike, constants: Constants = DEFAULT) -> Array:
    """Na+ + HCO3- = NaHCO3: older phreeqc.dat -0.25 at 25 (-1 kcal), or that of 2024, -0.06 (21 kJ)."""
    t = _kelvin(celsius)
    return _van_t_hoff(t, -0.06, 21.0e3) if constants.pairs_2024 else _van_t_hoff(t, -0.25, -1000.0 * _CAL)


def log_k_sodium_sulfate_pair(celsius: ArrayLike, constants: Constants = DEFAULT) -> Array:
    """Na+ + SO4-- = NaSO4-: older phreeqc.dat 0.70 at 25 and 0.73 at 38 (1.12 kcal), or that of 2024, 1.21 at 25."""
    t = _kelvin(celsius)
    if constants.pairs_2024:
        return _analytic(t, 255.903, 0.10057, 0.0, -111.138, -8.5983e5)
    return _van_t_hoff(t, 0.70, 1120.0 * _CAL)


def log_k_sodium_carbonate_pair(celsius: ArrayLike) -> Array:
    """Na+ + CO3-- = NaCO3- (older phreeqc.dat, dropped from that of 2024); 1.27 at 25 (8.91 kcal)."""
    return _van_t_hoff(_kelvin(celsius), 1.27, 8910.0 * _CAL)


def log_k_magnesium_hydroxide_pair(celsius: ArrayLike) -> Array:
    """Mg++ + H2O = MgOH+ + H+ (phreeqc.dat); -11.44 at 25, -10.95 at 38 (15.952 kcal)."""
    return _van_t_hoff(_kelvin(celsius), -11.44, 15952.0 * _CAL)


def log_k_calcium_borate_pair(celsius: ArrayLike) -> Array:
    """Ca++ + B(OH)4- = CaB(OH)4+ (minteq.v4; absent from phreeqc.dat); 1.76 at 25, 1.79 at 38."""
    return _van_t_hoff(_kelvin(celsius), -7.476, 17.0e3) + pk_boric(celsius)


def _ladder_step(name: str) -> Callable[[ArrayLike, Constants], Array]:
    def log_k(celsius: ArrayLike, constants: Constants) -> Array:
        return -pk_cyanurate(celsius, constants)[name]

    return log_k


_LADDER = ("H3Cy", "mono", "di", "H2Cy", "HCy", "HCl2Cy", "H2ClCy", "HClCy", "Cl3Cy")
LOG_K: dict[str, Callable[[ArrayLike, Constants], Array]] = {
    "water": lambda t, _: log_k_water(t),
    "henry": lambda t, _: log_k_henry_co2(t),
    "k1": lambda t, _: log_k1_carbonate(t),
    "k2": lambda t, _: log_k2_carbonate(t),
    "calcite": log_k_calcite,
    "CaHCO3+": log_k_calcium_bicarbonate_pair,
    "CaCO3": lambda t, _: log_k_calcium_carbonate_pair(t),
    "CaSO4": lambda t, _: log_k_calcium_sulfate_pair(t),
    "MgHCO3+": lambda t, _: log_k_magnesium_bicarbonate_pair(t),
    "MgCO3": lambda t, _: log_k_magnesium_carbonate_pair(t),
    "MgOH+": lambda t, _: log_k_magnesium_hydroxide_pair(t),
    "MgSO4": log_k_magnesium_sulfate_pair,
    "KSO4-": log_k_potassium_sulfate_pair,
    "NaHCO3": log_k_sodium_bicarbonate_pair,
    "NaSO4-": log_k_sodium_sulfate_pair,
    "NaCO3-": lambda t, _: log_k_sodium_carbonate_pair(t),
    "HSO4-": lambda t, _: log_k_bisulfate(t),
    "CaB(OH)4+": lambda t, _: log_k_calcium_borate_pair(t),
    "boric": lambda t, _: -pk_boric(t),
    "hobr": lambda t, constants: -pk_hobr(t, constants),
    "hocl": lambda t, constants: -pk_hocl(t, constants),
    "dmh": lambda t, constants: -pk_hydantoin(t, constants),
    "ammonium": lambda t, _: -pk_ammonium(t),
    **{f"cy:{name}": _ladder_step(name) for name in _LADDER},
}
