"""Lists of facts and other frozen values as tables of at most 80 columns."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable

from tubwater.facts import Basis, Guideline, Limits, Method, Substance, references
from tubwater.reports import units as show
from tubwater.reports.text import quantity_unit, text_of
from tubwater.tub import Quantity

__all__ = ["WIDTH", "render_guidelines", "render_methods", "render_substances"]

WIDTH = 80


def render_substances(substances: Iterable[Substance]) -> str:
    """Each substance: what it is used for, what it is also called, strengths on sale and how sure they are."""
    return "\n".join(_substance(substance) for substance in substances)


def _substance(substance: Substance) -> str:
    low, typical, high = (show.percent(share) if share <= 1.0 else "100 %" for share in substance.strength)
    roles = ", ".join(text_of("role", role.value) for role in sorted(substance.roles)) or _say("no-use")
    form = text_of("form", substance.form.value)
    lines = [f"{text_of('substance', substance.key)}  {substance.formula}"]
    lines.append(_say("key", key=substance.key, form=form, roles=roles))
    if substance.aliases:
        lines.append(_say("also", names=", ".join(substance.aliases)))
    lines.append(_say("sold", low=low, high=high, typical=typical, basis=text_of("basis", "from memory")))
    lines.append(_say("composition", basis=_basis(substance.basis)))
    return _entry(lines)


def render_methods(methods: Iterable[Method]) -> str:
    """Each method: what it reads, over which range, in which steps, and how sure that is."""
    return "\n".join(_method(method) for method in methods)


def _method(method: Method) -> str:
    lines = [_say("of-key", name=text_of("method-name", method.key), key=method.key)]
    for quantity, reads in method.quantities.items():
        unit = quantity_unit(quantity)
        steps = _say("steps", list=", ".join(show.number(step) for step in reads.steps)) if reads.steps else ""
        ends = {"low": show.number(reads.low), "high": show.number(reads.high)}
        lines.append(_say("reads", quantity=quantity.value, unit=unit, **ends) + steps)
    return _entry([*lines, _basis(method.basis)])


def render_guidelines(guidelines: Iterable[Guideline]) -> str:
    """Each guideline: what to aim at, what allows bathing, and the source of each limit."""
    return "\n".join(_guideline(guideline) for guideline in guidelines)


def _guideline(guideline: Guideline) -> str:
    lines = [_say("of-key", name=f"{text_of('guideline', guideline.key)}, {guideline.edition}", key=guideline.key)]
    lines.append(_say("counts", hours=guideline.max_test_age_hours))
    for quantity, limits in guideline.limits.items():
        lines.append(_limits(quantity, limits))
        lines.append(f"  {_basis(limits.basis)}")
    return _entry(lines)


def _limits(quantity: Quantity, limits: Limits) -> str:
    ends = {"low": show.number(limits.aim_low), "high": show.number(limits.aim_high)}
    aim = _say("aim", quantity=quantity.value, unit=quantity_unit(quantity), **ends)
    if math.isinf(limits.bathing_high):
        return aim
    return aim + _say("bathing", low=show.number(limits.bathing_low), high=show.number(limits.bathing_high))


def _say(kind: str, **values: object) -> str:
    return text_of("table", kind, values)


def _basis(basis: Basis) -> str:
    sources = "; ".join(f"{references()[key].title}, {references()[key].publisher}" for key in basis.sources)
    return ": ".join(part for part in (text_of("basis", basis.kind.value), sources, basis.note) if part)


def _entry(lines: Iterable[str]) -> str:
    first, *rest = lines
    body = [textwrap.fill(line.strip(), WIDTH, initial_indent=pad, subsequent_indent=pad + "  ")
            for line in rest for pad in ["    " + " " * (len(line) - len(line.lstrip()))]]  # fmt: skip
    return "\n".join([textwrap.fill(first, WIDTH), *body]) + "\n"
