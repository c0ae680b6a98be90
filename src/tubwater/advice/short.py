"""A visit shorter than its work: what is done now, and what goes to somebody else or to the next visit.

First goes what does not open the tub: calcium, the bank, what only steadies the coming days, then the routine
oxidizer and the feeder. A pH that is out, and sanitizer that is too low, stay longest.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from tubwater.advice.measures import amount_of
from tubwater.advice.mixing import mixing_factor
from tubwater.advice.now import Situation, substance_of
from tubwater.advice.safety import cap_grams
from tubwater.advice.timeline import MOST_PARTS, Timeline
from tubwater.advice.wishes import Wishes
from tubwater.facts import defaults
from tubwater.facts.quantity import Quantity
from tubwater.tub import Amount, Product, Reason, Step, StepKind

__all__ = ["Visit", "Wanted", "handed_over", "left_over", "urgent", "within"]

_ROUTINE = ("calcium", "bromide", "bicarbonate", "soda_ash", "acid", "oxidizer", "feeder")
_OPENS = ("bicarbonate", "soda_ash", "acid", "oxidizer")


@dataclass(frozen=True)
class Wanted:
    """One addition that is asked for, g, in ``parts`` at most; the tablets of the feeder as well, with its opening."""

    name: str
    product: Product
    grams: float
    parts: int = MOST_PARTS
    opening: float = 0.0


@dataclass(frozen=True)
class Visit:
    """What is done at a visit, and what is left of what was wanted.

    Attributes:
        retests: test after an addition and add the rest; otherwise the test comes later.
        cleans: filter and waterline are cleaned first, where lost sanitizer asks for it; otherwise later.
    """

    wanted: tuple[Wanted, ...]
    retests: bool = True
    cleans: bool = True
    left: tuple[Wanted, ...] = ()

    def find(self, name: str) -> Wanted | None:
        """The addition of that name, or None."""
        return next((w for w in self.wanted if w.name == name), None)

    def feeding(self, tablet_grams: float, opening: float) -> Visit:
        """With another setting of the feeder among what is left."""
        rows = (replace(w, grams=tablet_grams, opening=opening) if w.name == "feeder" else w for w in self.left)
        return replace(self, left=tuple(rows))

    def only(self, name: str, grams: float) -> Visit:
        """With so much of one addition in one part; the rest is left, what matters most first."""
        item = self.find(name)
        assert item is not None
        part, rest = replace(item, grams=grams, parts=1), replace(item, grams=item.grams - grams)
        kept = tuple(part if w is item else w for w in self.wanted if w is not item or grams > 0.0)
        left = tuple(w for w in self.left if w.name != name)
        whole = sum(w.grams for w in self.left if w.name == name) + rest.grams
        return replace(self, wanted=kept, left=(replace(item, grams=whole), *left))


def urgent(case: Situation, recovery: bool) -> frozenset[str]:
    """Names of the additions without which nobody can get in: for a reading out of its aim, or too little sanitizer."""
    found = {"oxidizer"} if recovery else set()
    sanitizer, ph = case.last_valid(case.sanitizer_quantity), case.last_valid(Quantity.PH)
    if sanitizer is not None and case.middle(sanitizer) < case.limits(case.sanitizer_quantity).bathing_low:
        found.add("oxidizer")
    limits = case.limits(Quantity.PH)
    if ph is not None and not limits.aim_low <= case.middle(ph) <= limits.aim_high:
        found |= {"acid", "soda_ash", "bicarbonate"}
    return frozenset(found)


def within(
    visit: Visit, minutes: float | None, first: Collection[str], litres: float, write: Callable[[Visit], Timeline]
) -> tuple[Visit, Timeline]:
    """The visit cut to its minutes, with its timeline; ``first`` are the names that stay longest."""
    line = write(visit)
    if minutes is None or line.clock <= minutes:
        return visit, line
    for cut in _cuts(visit, first, litres):
        visit, line = cut, write(cut)
        if line.clock <= minutes:
            break
    whole = write(replace(visit, retests=True))
    return (replace(visit, retests=True), whole) if whole.clock <= minutes else (visit, line)


def _cuts(visit: Visit, first: Collection[str], litres: float) -> Iterator[Visit]:
    """Ever shorter visits: tests and cleaning later, then additions only in their first part, or not at all."""
    visit = replace(visit, retests=False)
    yield visit
    visit = replace(visit, cleans=False)
    yield visit
    order = [n for n in _ROUTINE if n not in first] + [n for n in _OPENS if n in first]
    for name in order:
        item = visit.find(name)
        if item is None:
            continue
        if item.grams > (cap := cap_grams(item.product, litres)):
            yield visit.only(name, cap)
        visit = visit.only(name, 0.0)
        yield visit


def left_over(visit: Visit, minutes: float, needed: float) -> list[Reason]:
    """What nobody named does: left for the next visit, with its amount as it is planned today."""
    found = [(item.product.name, _amount(item).grams) for item in visit.left]
    values: dict[str, float | str] = {"minutes": minutes, "needed": needed}
    left = [Reason("left-for-next-visit", {**values, "product": n, "grams": g}) for n, g in found if g > 0.0]
    return [*left, *([] if visit.wanted else [Reason("nothing-fits", values)])]


def handed_over(case: Situation, visit: Visit, line: Timeline, wishes: Wishes) -> list[Step]:
    """What a named person adds, one thing after another, each with its time, its wait and its cautions."""
    clock, found = line.clock, []
    for item in visit.left:
        amount, wait = _amount(item), _wait(case, item.product)
        if amount.grams > 0.0:
            at = case.now + timedelta(minutes=clock)
            found.append(_hand(item, amount, at, wait, wishes))
            clock += wait
    return found


def _hand(item: Wanted, amount: Amount, at: datetime, wait: float, wishes: Wishes) -> Step:
    values: dict[str, float | str] = {"time": at.isoformat(timespec="minutes"), "wait": wait}
    if item.name == "feeder":
        values["opening"] = item.opening
    reason = Reason("minutes-end", {"minutes": wishes.minutes or 0.0, **values})
    cautions = ("nobody-in", "adult-stays", *substance_of(item.product).cautions)
    return Step(StepKind.HAND_OVER, by=wishes.later_by, amount=amount, reasons=(reason,), cautions=cautions)


def _wait(case: Situation, product: Product) -> float:
    return mixing_factor(case.tub) * max(substance_of(product).minutes, defaults()["mix_minutes"].value)


def _amount(item: Wanted) -> Amount:
    if item.name != "feeder" or not item.product.tablet_grams:
        return amount_of(item.product, item.grams, down=True)
    count = round(item.grams / item.product.tablet_grams)
    return Amount(item.product.name, item.product.substance, item.grams, float(count), "tablet")
