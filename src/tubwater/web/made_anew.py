"""What a test in a visit changed of its plan, as one sentence for the screen that follows it."""

from __future__ import annotations

from tubwater.reports.text import named
from tubwater.services.beside import running_of
from tubwater.services.ports import Kind
from tubwater.services.visits import Running, What
from tubwater.tub import StepKind
from tubwater.web.desk import Desk
from tubwater.web.visit_view import counts, visit_words

__all__ = ["made_anew"]


def made_anew(desk: Desk, tub: str, visit: str, state: Running) -> str:
    """How many steps more or fewer there are since the test before, and what goes in anew; "" after anything else."""
    entries, now = desk.keeping.entries(tub), desk.keeping.clock.now()
    said = [
        (n, s.entry) for n, s in enumerate(entries) if s.entry.kind is Kind.VISIT and s.entry.body["visit"] == visit
    ]
    place, newest = said[-1]
    told = {entry.id: entry.body["what"] for _, entry in said}
    if newest.body["what"] != What.REPLANNED or told.get(str(newest.body["about"])) != What.RETEST:
        return ""
    before = running_of(entries[:place], visit, now)
    return _sentence(before, state) if before else ""


def _sentence(before: Running, after: Running) -> str:
    more = _ahead(after) - _ahead(before)
    kind = "same" if not more else ("more" if more > 0 else "fewer") + (".one" if abs(more) == 1 else "")
    added = ", ".join(named(one) for one in _products(after) if one not in _products(before))
    return visit_words(f"anew.{kind}", count=abs(more), added=added)


def _ahead(state: Running) -> int:
    return sum(counts(row) and not row.answered for row in state.steps)


def _products(state: Running) -> tuple[str, ...]:
    """What is still to be added, each once."""
    doses = (row.step for row in state.steps if row.step.kind is StepKind.DOSE and not row.answered)
    return tuple(dict.fromkeys(step.amount.product for step in doses if step.amount))
