"""Cyanurate and its chlorinated forms: free HOCl from the two totals at a given pH.

Ladder: O'Brien, Morris & Butler 1974; Wahman & Alexander 2019 (constants in ``constants.pk_cyanurate``).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["FORMS", "Ladder", "ladder_of", "per_cyanurate"]

Array = NDArray[np.float64]
_ULPS = 450  # settled to this many units in the last place: 1e-13 in double precision
_MOST, _PLAIN = 60, 6  # Newton steps, and those of them before a bracket is kept
FORMS = {  # protons lost, HOCl taken up, both from H3Cy; the most protons first
    "Cy---": (3, 0),
    "HCy--": (2, 0),
    "ClCy--": (2, 1),
    "H2Cy-": (1, 0),
    "HClCy-": (1, 1),
    "Cl2Cy-": (1, 2),
    "H2ClCy": (0, 1),
    "HCl2Cy": (0, 2),
    "Cl3Cy": (0, 3),
}
_LOST, _TAKEN = (np.array(column, dtype=float) for column in zip(*FORMS.values(), strict=True))
_COUNTS = np.arange(4.0)  # of HOCl taken up
_MOMENTS = np.stack([_COUNTS**0, _COUNTS, _COUNTS**2])  # sums over them: all, HOCl taken up, and its square
_WEIGHTS = np.stack([_LOST**0, _LOST, _LOST**2, _LOST == 1.0, (_LOST > 1.0) * (0.5 * _LOST) ** 2])
_SUMS = (_WEIGHTS[:, None] * (_COUNTS[:, None] == _TAKEN)).reshape(-1, len(FORMS))  # weighted, by HOCl taken up


@dataclass(frozen=True, eq=False)
class Ladder:
    """What the solver needs of the ladder at one pH.

    Attributes:
        hocl: free, mol/kg. hocl_by_ph: slope of ln HOCl by ln(1/h).
        alkalinity: eq/kg, with that of OCl-. slope: of the alkalinity by ln(1/h); both totals stay.
        once, twice: ions of one charge, and those of more as so much of two charges, mol/kg.
    """

    hocl: Array
    hocl_by_ph: Array
    alkalinity: Array
    slope: Array
    once: Array
    twice: Array


def per_cyanurate(k: Array, inverse_h: Array) -> Array:
    """Each of ``FORMS`` per H3Cy and per HOCl taken up, from their conditional constants ``k``, (forms, N)."""
    per = k * inverse_h
    per[6:] = k[6:]  # these have lost no proton
    per[:3] *= inverse_h
    per[0] *= inverse_h
    return per


def ladder_of(
    k: Array, k_hocl: Array, cyanurate: Array, chlorine: Array, inverse_h: Array, start: Array | None
) -> Ladder:
    """Solve the two mass balances.

    Args:
        k: conditional constants of ``FORMS``, (forms, N). k_hocl: that of OCl-, or 0.
        cyanurate, chlorine: totals, mol/kg. inverse_h: 1 / activity of H+. start: free HOCl to begin from, mol/kg.
    """
    sums = (_SUMS.astype(k.dtype, copy=False) @ per_cyanurate(k, inverse_h)).reshape(len(_WEIGHTS), 4, -1)
    sums[0, 0] += 1.0  # H3Cy itself
    hypochlorite = k_hocl * inverse_h
    scale = 1.0 + hypochlorite
    f = _free_hocl(sums[0], cyanurate, chlorine, scale, start)
    sums *= _powers(f)
    sums *= cyanurate / sums[0].sum(axis=0)
    _, taken, taken_twice = _moments(sums[0])
    _, both, _ = _moments(sums[1])
    lost, lost_twice, once, twice = sums[1:].sum(axis=1)
    whole = np.maximum(cyanurate, 1e-30)
    ion = f * hypochlorite
    # variances of protons lost and HOCl taken up, and of both together: how the forms give way to one another
    by_ph = lost_twice - lost * lost / whole + ion
    cross = both - lost * taken / whole + ion
    by_hocl = taken_twice - taken * taken / whole + f * scale
    falls = -cross / np.maximum(by_hocl, 1e-30)
    return Ladder(f, falls, lost + ion, by_ph + cross * falls, once + ion, twice)


def _powers(f: Array) -> Array:
    """f to the power of the HOCl taken up, (4, N)."""
    found = np.empty((4, f.size), f.dtype)
    found[0], found[1] = 1.0, f
    np.multiply(f, f, out=found[2])
    np.multiply(found[2], f, out=found[3])
    return found


def _moments(by_taken: Array) -> Array:
    found: Array = _MOMENTS.astype(by_taken.dtype, copy=False) @ by_taken
    return found


def _free_hocl(p: Array, cyanurate: Array, chlorine: Array, scale: Array, start: Array | None) -> Array:
    """The root of the chlorine balance, monotone in free HOCl: Newton, between bounds where that takes long.

    ``p``: forms per H3Cy by HOCl taken up, (4, N). The error of a step goes with the square of the step.
    """
    low, high = np.zeros_like(scale), chlorine / scale
    if not chlorine.any():
        return low
    f = high * 0.05 if start is None else np.minimum(start, high)
    near = np.sqrt(_ULPS * float(np.finfo(f.dtype).eps))
    for step in range(_MOST):
        held, taken, taken_twice = _moments(p * _powers(f))
        taken /= held
        gap = f * scale + cyanurate * taken - chlorine
        slope = f * scale + cyanurate * (taken_twice / held - taken * taken)
        new = np.maximum(f - f * (gap / np.maximum(slope, 1e-30)), 0.1 * f)
        if step >= _PLAIN:
            low, high = np.where(gap < 0, f, low), np.where(gap > 0, f, high)
            new = np.where((new >= low) & (new <= high), new, 0.5 * (low + high))
        done = np.abs(new - f) <= near * f
        f = new
        if done.all():
            break
    return f
