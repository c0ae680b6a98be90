"""The trial in words and numbers: each share by policy and span of weeks, with intervals over tubs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.stats import beta

from .keeping import Choices
from .score import BAND, SHARES, Scored, spans

__all__ = ["Result", "report"]

Array = NDArray[np.float64]
_DRAWS = 2000
_GRAMS = {
    "acid": ("sodium-bisulfate",),
    "base": ("sodium-bicarbonate", "sodium-carbonate"),
    "oxidizer": ("monopersulfate",),
    "tablets": ("bcdmh",),
}


@dataclass(frozen=True)
class Result:
    """One tub kept by one policy, and the seconds that took."""

    tub: int
    policy: str
    scored: Scored
    seconds: float

    def data(self) -> dict[str, Any]:
        """As plain data."""
        return asdict(self)

    @classmethod
    def of(cls, data: dict[str, Any]) -> Result:
        """From ``data``, also once it went through JSON."""
        return cls(**{**data, "scored": Scored(**data["scored"])})


def report(results: Sequence[Result], choices: Choices) -> str:
    """The whole report as Markdown."""
    policies = list(dict.fromkeys(r.policy for r in results))
    by = {p: [r.scored for r in results if r.policy == p] for p in policies}
    parts = [_head(choices, len(by[policies[0]]))]
    parts += [_shares(by, span, weeks) for span, weeks in _spans(choices)]
    parts += [_towards(by, choices), _uses(by), _entries(by, choices), _cover(by), _tubs(results)]
    return "\n\n".join(part for part in parts if part) + "\n"


def _spans(choices: Choices) -> list[tuple[str, tuple[int, int]]]:
    """The spans that differ."""
    found = spans(choices.weeks)
    return [(name, weeks) for name, weeks in found.items() if name == "all" or weeks != found["all"]]


def _head(choices: Choices, tubs: int) -> str:
    band = ", ".join(f"{name} {low:g} to {high:g}" for name, (low, high) in BAND.items() if name != "index")
    return (
        f"# Trial: {tubs} hidden tubs, {choices.weeks} weeks, {choices.kit} {choices.visits} a week, "
        f"dose after {100 * choices.after_soak:.0f} % of soaks, {choices.members} members, seed {choices.seed}\n\n"
        f"In band: {band}, saturation index of calcite up to {BAND['index'][1]:+g}. "
        "Means over tubs with 95 % intervals (bootstrap over tubs)."
    )


def _shares(by: dict[str, list[Scored]], span: str, weeks: tuple[int, int]) -> str:
    rows = [["% of hours", *by]]
    for name in SHARES:
        rows.append([name, *(_mean([100.0 * s.shares[span][name] for s in lives]) for lives in by.values())])
    return f"## Weeks {weeks[0]} to {weeks[1]}\n\n" + _table(rows)


def _towards(by: dict[str, list[Scored]], choices: Choices) -> str:
    """How much of the way from the guide to the bound our plans go, and our hours over the bound's."""
    if not {"guide", "ours", "bound"} <= set(by):
        return ""
    rows = [["hours in band", "ours / bound", "(ours - guide) / (bound - guide)"]]
    for span, weeks in _spans(choices):
        guide, ours, bound = (np.array([s.shares[span]["in band"] for s in by[p]]) for p in ("guide", "ours", "bound"))
        rows.append([f"weeks {weeks[0]} to {weeks[1]}", _ratio(ours, bound), _ratio(ours - guide, bound - guide)])
    return "## Towards the bound\n\n" + _table(rows)


def _uses(by: dict[str, list[Scored]]) -> str:
    rows = [["a tub and week", *by]]
    for name, substances in _GRAMS.items():
        rows.append([f"{name}, g", *(_mean([_week(s, substances) for s in lives]) for lives in by.values())])
    rows.append(["tests", *(_mean([s.tests / s.weeks for s in lives]) for lives in by.values())])
    rows.append(["visits", *(_mean([s.visits / s.weeks for s in lives]) for lives in by.values())])
    longest = (_mean([s.longest_below_2 for s in lives]) for lives in by.values())
    rows.append(["longest run below 2 mg/L, h", *longest])
    rows.append(["mean alkalinity, mg/L", *(_mean([s.mean_alkalinity for s in lives]) for lives in by.values())])
    return "## What it took\n\n" + _table(rows)


def _week(scored: Scored, substances: tuple[str, ...]) -> float:
    return sum(scored.grams.get(s, 0.0) for s in substances) / scored.weeks


def _entries(by: dict[str, list[Scored]], choices: Choices) -> str:
    """Soaks wanted, allowed and wrongly allowed, with the exact upper limit of the last share."""
    if not choices.entry or "ours" not in by:
        return ""
    rows = [["verdict from", "wanted", "allowed", "wrongly allowed", "upper 95 % limit", "allowed, weeks 5 on"]]
    for kind in choices.entry:
        wanted, allowed, wrong = (sum(s.entries[kind][i] for s in by["ours"]) for i in range(3))
        late, late_allowed = (sum(s.late_entries[kind][i] for s in by["ours"]) for i in range(2))
        upper = float(beta.ppf(0.95, wrong + 1, allowed - wrong)) if allowed > wrong else 1.0
        cells = (f"{wanted}", _part(allowed, wanted), _part(wrong, allowed), f"{100 * upper:.1f} %")
        rows.append([kind, *cells, _part(late_allowed, late)])
    return "## Soaks allowed\n\n" + _table(rows)


def _cover(by: dict[str, list[Scored]]) -> str:
    """How often a reading lay inside the belief's 90 % band made before it."""
    found = {name: counts for s in by.get("ours", []) for name, counts in s.covered.items()}
    if not found:
        return ""
    rows = [["reading", "inside the 90 % band made before it"]]
    for name in found:
        inside = sum(s.covered.get(name, (0, 0))[0] for s in by["ours"])
        made = sum(s.covered.get(name, (0, 0))[1] for s in by["ours"])
        rows.append([name, f"{_part(inside, made)} of {made}"])
    return "## Bands\n\n" + _table(rows)


def _tubs(results: Sequence[Result]) -> str:
    rows = [["tub", "policy", "in band", "first weeks", "last weeks", "bromine", "pH", "alkalinity", "index",
             "below 1", "above 10", "below 2 h", "seconds"]]  # fmt: skip
    for r in results:
        whole = r.scored.shares["all"]
        named = [f"{100 * whole[n]:.0f}" for n in ("bromine", "pH", "alkalinity", "index", "below 1", "above 10")]
        spans_of = [f"{100 * r.scored.shares[span]['in band']:.0f}" for span in ("all", "first", "last")]
        rows.append([f"{r.tub}", r.policy, *spans_of, *named, f"{r.scored.longest_below_2:.0f}", f"{r.seconds:.0f}"])
    return "## Each tub (% of hours)\n\n" + _table(rows)


def _mean(values: Sequence[float]) -> str:
    """Mean and its bootstrap interval over tubs."""
    found = np.asarray(values, float)
    draws = found[_picks(len(found))].mean(axis=1)
    low, high = np.quantile(draws, (0.025, 0.975))
    return f"{found.mean():.1f} ({low:.1f} to {high:.1f})"


def _ratio(above: Array, below: Array) -> str:
    """Ratio of means, with its bootstrap interval over tubs (the same tubs above and below)."""
    picks = _picks(len(above))
    draws = above[picks].mean(axis=1) / below[picks].mean(axis=1)
    low, high = np.quantile(draws, (0.025, 0.975))
    return f"{100 * above.mean() / below.mean():.0f} % ({100 * low:.0f} to {100 * high:.0f})"


def _picks(size: int) -> NDArray[np.int64]:
    return np.random.default_rng(7).integers(0, size, (_DRAWS, size))


def _part(count: int, of: int) -> str:
    return f"{count} ({100 * count / of:.0f} %)" if of else f"{count}"


def _table(rows: list[list[str]]) -> str:
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    lines = ["| " + " | ".join(c.ljust(w) for c, w in zip(row, widths, strict=True)) + " |" for row in rows]
    return "\n".join([lines[0], "|" + "|".join("-" * (w + 2) for w in widths) + "|", *lines[1:]])
