"""SVG as text: elements with escaped attributes, nothing more."""

from __future__ import annotations

from html import escape

__all__ = ["element", "percent", "points", "words"]


def element(name: str, *children: str, **attributes: object) -> str:
    """One element. ``class_`` stands for class, ``a_b`` for a-b; children are SVG already; None leaves one out.

    Colours and widths are attributes, which any style sheet overrules, so that a picture without one is still right.
    """
    given = "".join(f' {_name(key)}="{escape(_value(v))}"' for key, v in attributes.items() if v is not None)
    inside = "".join(children)
    return f"<{name}{given}>{inside}</{name}>" if inside else f"<{name}{given}/>"


def words(text: str) -> str:
    """A text inside an element."""
    return escape(text, quote=False)


def percent(share: float) -> str:
    """A share (0 to 1) of the picture's width."""
    return f"{_number(100.0 * share)}%"


def points(pairs: list[tuple[float, float]]) -> str:
    """The data of a closed path through points."""
    return "M" + "L".join(f"{_number(x)} {_number(y)}" for x, y in pairs) + "Z"


def _name(key: str) -> str:
    return key.rstrip("_").replace("_", "-")


def _value(value: object) -> str:
    return _number(value) if isinstance(value, float) else str(value)


def _number(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")
