"""One tub as a picture: bromine, pH and alkalinity by the hour for each policy, with soaks, readings and doses."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import NDArray

from .keeping import Choices, Kept
from .score import BAND

__all__ = ["drawn"]

Array = NDArray[np.float64]
_WIDTH, _PANEL, _GAP, _LEFT, _TOP = 1200.0, 120.0, 34.0, 116.0, 56.0
_PANELS = (
    ("bromine", "bromine, mg/L", 2, 0.0, 16.0),
    ("pH", "pH", 3, 6.8, 8.4),
    ("alkalinity", "alkalinity, mg/L", 4, 0.0, 200.0),
)
_INK = {"guide": "#8a8577", "ours": "#9c4a1a", "bound": "#2f5d50"}
_NAMES = {"guide": "guide", "ours": "Tubwater", "bound": "bound"}
_QUANTITIES = {"bromine": "bromine", "pH": "pH", "alkalinity": "total alkalinity"}
_DOSED = {"monopersulfate": "o", "sodium-bisulfate": "a", "sodium-bicarbonate": "b", "sodium-carbonate": "s"}


def drawn(tub: int, lives: Mapping[str, Kept], choices: Choices) -> str:
    """An SVG of a tub, one group of panels for each policy."""
    parts, y = [_title(tub, choices)], _TOP
    for policy in (name for name in _NAMES if name in lives):
        kept = lives[policy]
        hours = np.array(kept.hours)
        parts.append(_words(_LEFT, y - 8.0, _NAMES[policy], size=15, fill=_INK[policy], weight="bold"))
        for panel in _PANELS:
            parts.append(_panel(panel, y, hours, kept, choices, _INK[policy]))
            y += _PANEL + (_GAP if panel is _PANELS[-1] else 8.0)
    height = y + 10.0
    body = "\n".join(parts)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH:g} {height:g}" font-family="Georgia, serif" '
        f'role="img" aria-label="Tub {tub}: bromine, pH and alkalinity by the hour">\n'
        f'<rect width="100%" height="100%" fill="#faf6ee"/>\n{body}\n</svg>\n'
    )


def _title(tub: int, choices: Choices) -> str:
    text = (
        f"Hidden tub {tub}, {choices.weeks} weeks, {choices.kit} tests. Shaded: in band. Dots: readings. Ticks: soaks. "
    )
    return _words(
        _LEFT, 22.0, text + " Letters: o oxidizer, a acid, b bicarbonate, s soda ash, each at a visit.", size=13
    )


def _panel(
    panel: tuple[str, str, int, float, float], y: float, hours: Array, kept: Kept, choices: Choices, ink: str
) -> str:
    name, label, column, low, high = panel
    end = 168.0 * choices.weeks

    def across(hour: float) -> float:
        return _LEFT + (_WIDTH - _LEFT - 14.0) * hour / end

    def up(value: float) -> float:
        return y + _PANEL * (1.0 - (float(np.clip(value, low, high)) - low) / (high - low))

    top, bottom = up(BAND[name][1]), up(BAND[name][0])
    parts = [
        f'<rect x="{_LEFT}" y="{top:.1f}" width="{_WIDTH - _LEFT - 14:.1f}" '
        f'height="{bottom - top:.1f}" fill="#e6ddc8"/>'
    ]
    parts += [_line(across(168.0 * w), y, across(168.0 * w), y + _PANEL, "#cfc6b2") for w in range(choices.weeks + 1)]
    line = " ".join(f"{across(h):.1f},{up(v):.1f}" for h, v in zip(hours[::2, 0], hours[::2, column], strict=True))
    parts.append(f'<polyline points="{line}" fill="none" stroke="{ink}" stroke-width="1.3"/>')
    parts += [
        f'<circle cx="{across(h):.1f}" cy="{up(v):.1f}" r="3" fill="#faf6ee" stroke="#222" stroke-width="1"/>'
        for h, quantity, v in kept.seen
        if quantity == _QUANTITIES[name]
    ]
    parts += [_words(_LEFT - 6.0, up(v) + 4.0, f"{v:g}", size=11, anchor="end") for v in BAND[name]]
    parts.append(_words(14.0, y + 12.0, label, size=11))
    if name == "bromine":
        parts += [_line(across(s[0]), y + _PANEL - 6.0, across(s[0]), y + _PANEL, "#222") for s in kept.soaks]
    else:
        parts += _letters(kept, across, y, name)
    return "\n".join(parts)


def _letters(kept: Kept, across: Callable[[float], float], y: float, name: str) -> list[str]:
    """The doses of visits, above the panel of pH; those after soaks would hide everything."""
    if name != "pH":
        return []
    seen = np.array([h for h, _, _ in kept.seen] or [-99.0])
    beside = [(h, s) for h, s, _ in kept.doses if np.min(np.abs(seen - h)) < 3.0]
    return [_words(across(h) + 7.0 * i % 28, y + 10.0, _DOSED.get(s, "?"), size=10) for i, (h, s) in enumerate(beside)]


def _line(x1: float, y1: float, x2: float, y2: float, stroke: str) -> str:
    return f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{stroke}" stroke-width="1"/>'


def _words(
    x: float, y: float, text: str, size: int, fill: str = "#222", weight: str = "normal", anchor: str = "start"
) -> str:
    place = f'x="{x:.1f}" y="{y:.1f}" font-size="{size}" fill="{fill}" font-weight="{weight}" text-anchor="{anchor}"'
    return f"<text {place}>{escape(text)}</text>"
