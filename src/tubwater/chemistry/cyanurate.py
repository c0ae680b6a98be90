"""Cyanurate and its chlorinated forms: free HOCl from the two totals at a given pH.

Ladder: O'Brien, Morris & Butler 1974; Wahman & Alexander 2019 (constants in ``constants.pk_cyanurate``).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tubwater.chemistry.activity import Gammas

__all__ = ["Ladder", "ladder_of"]

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Ladder:
    """Species (mol/kg), their alkalinity (eq/kg), its slope / ln 10 (approximate) and the free HOCl."""

    conc: dict[str, Array]
    alkalinity: Array
    slope: Array
    hocl: Array


def ladder_of(
    k: dict[str, Array], cyanurate: Array, chlorine: Array, h: Array, hypochlorite: Array, g: Gammas, start: Array | None
) -> Ladder:
    """Solve the two mass balances. ``h`` H+ activity; ``hypochlorite`` the ratio OCl-/HOCl."""
    d1, d2, n = g.davies1, g.davies2, g.neutral
    d3 = d1**9
    h2 = k["H3Cy"] * n / (h * d1)  # each form per mol H3Cy, and per mol HOCl for the chlorinated
    h1 = h2 * k["H2Cy"] * d1 / (h * d2)
    h0 = h1 * k["HCy"] * d2 / (h * d3)
    mono = h2 * n / k["mono"]  # HClCy-
    mono_acid = mono * h * d1 / (k["H2ClCy"] * n)
    mono_base = mono * k["HClCy"] * d1 / (h * d2)
    di = mono * n / k["di"]
    di_acid = di * h * d1 / (k["HCl2Cy"] * n)
    tri = di_acid * n / k["Cl3Cy"]
    p = (1.0 + h2 + h1 + h0, mono + mono_acid + mono_base, di + di_acid, tri)
    f = _free_hocl(p, cyanurate, chlorine, 1.0 + hypochlorite, start)
    base = cyanurate / (p[0] + f * (p[1] + f * (p[2] + f * p[3])))
    conc = {
        "H3Cy": base,
        "H2Cy-": base * h2,
        "HCy--": base * h1,
        "HClCy-": base * mono * f,
        "H2ClCy": base * mono_acid * f,
        "ClCy--": base * mono_base * f,
        "Cl2Cy-": base * di * f * f,
        "HCl2Cy": base * di_acid * f * f,
        "Cl3Cy": base * tri * f**3,
        "HOCl": f,
        "OCl-": f * hypochlorite,
    }
    once = conc["H2Cy-"] + conc["HClCy-"] + conc["Cl2Cy-"]
    twice = conc["HCy--"] + conc["ClCy--"]
    alkalinity = once + 2.0 * twice + 3.0 * base * h0 + conc["OCl-"]
    mean = np.clip((once + twice) / np.maximum(cyanurate, 1e-300), 0.0, 1.0)
    slope = cyanurate * mean * (1.0 - mean) + 2.0 * twice + conc["OCl-"] / (1.0 + hypochlorite)
    return Ladder(conc, alkalinity, slope, f)


def _free_hocl(
    p: tuple[Array, Array, Array, Array], cyanurate: Array, chlorine: Array, scale: Array, start: Array | None
) -> Array:
    """The root of the chlorine balance, monotone in free HOCl: safeguarded Newton between zero and the total."""
    low, high = np.zeros_like(chlorine), chlorine / scale
    f = high * 0.05 if start is None else np.clip(start, low, high)
    for _ in range(60):
        held = p[0] + f * (p[1] + f * (p[2] + f * p[3]))
        taken = f * (p[1] + f * (2.0 * p[2] + f * 3.0 * p[3]))
        gap = f * scale + cyanurate * taken / held - chlorine
        by_f = p[1] + f * (4.0 * p[2] + f * 9.0 * p[3])
        held_by_f = p[1] + f * (2.0 * p[2] + f * 3.0 * p[3])
        slope = scale + cyanurate * (by_f * held - taken * held_by_f) / (held * held)
        low, high = np.where(gap < 0, f, low), np.where(gap > 0, f, high)
        step = f - gap / slope
        new = np.where((step > low) & (step < high), step, 0.5 * (low + high))
        done = np.abs(new - f) <= 1e-13 * np.maximum(chlorine, 1e-30)
        f = np.where(chlorine > 0, new, 0.0)
        if done.all():
            break
    return f
