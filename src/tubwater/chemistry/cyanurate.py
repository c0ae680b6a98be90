"""Cyanurate and its chlorinated forms: free HOCl from the two totals at a given pH.

Ladder: O'Brien, Morris & Butler 1974; Wahman & Alexander 2019 (constants in ``constants.pk_cyanurate``).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Ladder", "ladder_of"]

Array = NDArray[np.float64]
_ULPS = 450  # settled to this many units in the last place: 1e-13 in double precision
_FORMS = {  # protons lost, HOCl taken up, both from H3Cy
    "H2Cy-": (1, 0),
    "HCy--": (2, 0),
    "Cy---": (3, 0),
    "HClCy-": (1, 1),
    "H2ClCy": (0, 1),
    "ClCy--": (2, 1),
    "Cl2Cy-": (1, 2),
    "HCl2Cy": (0, 2),
    "Cl3Cy": (0, 3),
}


@dataclass(frozen=True, eq=False)
class Ladder:
    """Species (mol/kg), their alkalinity (eq/kg), its slope / ln 10 at constant free HOCl, and the free HOCl."""

    conc: dict[str, Array]
    alkalinity: Array
    slope: Array
    hocl: Array


def ladder_of(
    k: Mapping[str, Array],
    cyanurate: Array,
    chlorine: Array,
    inverse_h: Array,
    start: Array | None,
) -> Ladder:
    """Solve the two mass balances.

    Args:
        k: conditional constants of the forms and of OCl-. cyanurate, chlorine: totals, mol/kg.
        inverse_h: 1 / activity of H+. start: free HOCl to begin from, mol/kg.
    """
    hypochlorite = k["OCl-"] * inverse_h if "OCl-" in k else np.zeros_like(inverse_h)
    per = {name: k[name] * inverse_h**protons for name, (protons, _) in _FORMS.items()}
    p = [sum((per[n] for n, (_, taken) in _FORMS.items() if taken == m), np.zeros_like(inverse_h)) for m in range(4)]
    p[0] = p[0] + 1.0
    f = _free_hocl(p, cyanurate, chlorine, 1.0 + hypochlorite, start)
    base = cyanurate / (p[0] + f * (p[1] + f * (p[2] + f * p[3])))
    conc = {"H3Cy": base} | {name: base * per[name] * f**taken for name, (_, taken) in _FORMS.items()}
    conc |= {"HOCl": f, "OCl-": f * hypochlorite}
    first = sum((protons * conc[n] for n, (protons, _) in _FORMS.items()), np.zeros_like(f))
    second = sum((protons**2 * conc[n] for n, (protons, _) in _FORMS.items()), np.zeros_like(f))
    slope = second - first * first / np.maximum(cyanurate, 1e-30)
    slope = slope + conc["OCl-"] / (1.0 + hypochlorite)
    return Ladder(conc, first + conc["OCl-"], slope, f)


def _free_hocl(p: list[Array], cyanurate: Array, chlorine: Array, scale: Array, start: Array | None) -> Array:
    """The root of the chlorine balance, monotone in free HOCl: safeguarded Newton between zero and the total."""
    low, high = np.zeros_like(scale), chlorine / scale
    if not chlorine.any():
        return low
    f = high * 0.05 if start is None else np.clip(start, low, high)
    for _ in range(60):
        gap, slope = _chlorine_gap(f, p, cyanurate, chlorine, scale)
        low, high = np.where(gap < 0, f, low), np.where(gap > 0, f, high)
        step = f - gap / slope
        new = np.where((step >= low) & (step <= high), step, 0.5 * (low + high))
        done = np.abs(new - f) <= (_ULPS * np.finfo(f.dtype).eps) * np.maximum(chlorine, 1e-30)
        f = np.where(chlorine > 0, new, 0.0)
        if done.all():
            break
    return f


def _chlorine_gap(f: Array, p: list[Array], cyanurate: Array, chlorine: Array, scale: Array) -> tuple[Array, Array]:
    """Chlorine bound and free less the total, and its slope by free HOCl."""
    held = p[0] + f * (p[1] + f * (p[2] + f * p[3]))
    taken = f * (p[1] + f * (2.0 * p[2] + f * 3.0 * p[3]))
    by_f = p[1] + f * (4.0 * p[2] + f * 9.0 * p[3])
    held_by_f = p[1] + f * (2.0 * p[2] + f * 3.0 * p[3])
    gap = f * scale + cyanurate * taken / held - chlorine
    return gap, scale + cyanurate * (by_f * held - taken * held_by_f) / (held * held)
