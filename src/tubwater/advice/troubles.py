"""Signs in, likely causes out, with the check that best tells them apart.

A small network in which one cause is behind a trouble and signs are independent given the cause (naive Bayes);
its table is common practice, so the shares are no more than an order of likelihood. Complaints of people are not
ranked: they get fixed advice.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass

import numpy as np

from tubwater.advice.decide import bank_is_thin
from tubwater.advice.now import Situation
from tubwater.advice.saturation import CORROSIVE, SCALING
from tubwater.errors import UnknownKey
from tubwater.facts import Cause, troubles
from tubwater.facts.quantity import Quantity

__all__ = ["Ranked", "Ranking", "rank", "water_evidence"]

_SILENT = 0.1  # weight of a cause that the believed water speaks against (judgement)


@dataclass(frozen=True)
class Ranked:
    """A cause with its probability and what helps, in order."""

    cause: str
    probability: float
    remedy: tuple[str, ...]


@dataclass(frozen=True)
class Ranking:
    """Attributes:
    causes: the most likely first; empty for complaints. next_check: tells them best apart, "" for none.
    gain: bits that the check is expected to bring. complaint: fixed advice counts instead.
    """

    causes: tuple[Ranked, ...]
    next_check: str
    gain: float
    complaint: bool = False


def rank(
    present: Collection[str],
    absent: Collection[str] = (),
    answers: Mapping[str, bool] | None = None,
    water: Mapping[str, float] | None = None,
    most: int = 5,
) -> Ranking:
    """Causes of what is seen.

    Args:
        present, absent: keys of signs that were seen, and that were looked for and not seen.
        answers: checks already made, key to yes or no. water: probabilities from ``water_evidence``.

    Raises:
        UnknownKey: a sign or check that the table does not hold.
    """
    table, answers = troubles(), dict(answers or {})
    _known((*present, *absent), (*table.signs, *table.complaints), "sign")
    _known(answers, table.checks, "check")
    if set(present) & set(table.complaints):
        return Ranking((), "", 0.0, complaint=True)
    weights = {key: _weight(cause, present, absent, answers, water or {}) for key, cause in table.causes.items()}
    total = sum(weights.values())
    shares = {key: weight / total for key, weight in weights.items()}
    order = sorted(shares, key=lambda key: -shares[key])[:most]
    check, gain = _best_check(shares, set(answers))
    return Ranking(tuple(Ranked(key, shares[key], table.causes[key].remedy) for key in order), check, gain)


def _known(given: Collection[str], known: Collection[str], what: str) -> None:
    for key in given:
        if key not in known:
            raise UnknownKey(what, key, known)


def _weight(
    cause: Cause,
    present: Collection[str],
    absent: Collection[str],
    answers: Mapping[str, bool],
    water: Mapping[str, float],
) -> float:
    table, weight = troubles(), cause.prior
    for sign in present:
        weight *= cause.signs.get(sign, table.signs[sign])
    for sign in absent:
        weight *= 1.0 - cause.signs.get(sign, table.signs[sign])
    for check, yes in answers.items():
        share = cause.checks.get(check, table.checks[check].background)
        weight *= share if yes else 1.0 - share
    if cause.water in water:
        weight *= _SILENT + 2.0 * (1.0 - _SILENT) * water[cause.water]
    return weight


def _best_check(shares: Mapping[str, float], made: Collection[str]) -> tuple[str, float]:
    """The check whose answer is expected to take away most uncertainty (Shannon 1948; from memory)."""
    gains = {key: _gain(shares, key) for key in troubles().checks if key not in made}
    best = max(gains, key=lambda key: gains[key])
    return (best, gains[best]) if gains[best] > 0.01 else ("", 0.0)


def _gain(shares: Mapping[str, float], check: str) -> float:
    table = troubles()
    yes = {k: p * table.causes[k].checks.get(check, table.checks[check].background) for k, p in shares.items()}
    no = {key: shares[key] - yes[key] for key in shares}
    return _entropy(shares) - sum(sum(part.values()) * _entropy(part) for part in (yes, no))


def _entropy(weights: Mapping[str, float]) -> float:
    values = np.array(list(weights.values()))
    shares = values[values > 0.0] / values.sum()
    return float(-(shares * np.log2(shares)).sum())


def water_evidence(case: Situation) -> dict[str, float]:
    """What the believed water says: probabilities by the keys that causes name."""
    return {key: float(np.mean(read(case))) for key, read in _EVIDENCE.items()}


def _beyond(quantity: Quantity, side: str, factor: float = 1.0) -> Callable[[Situation], np.ndarray]:
    def read(case: Situation) -> np.ndarray:
        limits, value = case.limits(quantity), case.observer.read(quantity)
        outside = value < factor * limits.aim_low if side == "low" else value > factor * limits.aim_high
        return np.asarray(outside)

    return read


def _sanitizer(side: str) -> Callable[[Situation], np.ndarray]:
    def read(case: Situation) -> np.ndarray:
        limits, value = case.limits(case.sanitizer_quantity), case.sanitizer_of(case.state)
        return np.asarray(value < limits.keep_out_low if side == "low" else value > limits.keep_out_high)

    return read


_EVIDENCE: dict[str, Callable[[Situation], np.ndarray]] = {
    "sanitizer-low": _sanitizer("low"),
    "sanitizer-high": _sanitizer("high"),
    "scale": lambda case: np.asarray(case.observer.solved.si_calcite > SCALING),
    "corrosive": lambda case: np.asarray(case.observer.solved.si_calcite < CORROSIVE),
    "ph-low": _beyond(Quantity.PH, "low"),
    "alkalinity-low": _beyond(Quantity.TOTAL_ALKALINITY, "low"),
    "alkalinity-high": _beyond(Quantity.TOTAL_ALKALINITY, "high"),
    "soft": _beyond(Quantity.CALCIUM_HARDNESS, "low"),
    "thin-bank": lambda case: np.asarray([bank_is_thin(case)]),
}
