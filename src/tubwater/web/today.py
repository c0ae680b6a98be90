"""What is due today, tub by tub, the most urgent first."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from tubwater.services.people import Caller, Deed
from tubwater.tub import Tub, Verdict, VerdictKind
from tubwater.web.desk import Desk
from tubwater.web.under_way import UnderWay, under_way

__all__ = ["Row", "due_today"]

_ORDER = (VerdictKind.KEEP_OUT, VerdictKind.NOT_YET, VerdictKind.FIT)


@dataclass(frozen=True)
class Row:
    """One tub of the list. ``last_test``: when it was tested last, or None. ``visit``: the one that is under way."""

    id: str
    tub: Tub
    verdict: Verdict
    last_test: datetime | None
    visit: UnderWay | None = None


def due_today(desk: Desk, caller: Caller | None = None) -> list[Row]:
    """Every tub that a caller may see with its verdict, as old as ten minutes where nothing was entered since."""
    seen = [tub for tub in desk.keeping.store.tubs() if caller is None or caller.may(Deed.READ, tub)]
    rows = [_row(desk, tub) for tub in seen]
    return sorted(rows, key=lambda row: (_ORDER.index(row.verdict.kind), row.verdict.good_until, row.tub.name))


def _row(desk: Desk, tub: str) -> Row:
    tests = [line.happened for line in desk.keeping.history(tub) if line.stored.entry.kind == "test" and line.stands]
    return Row(
        tub, desk.file(tub).tub, desk.answers.recent_verdict(tub), max(tests, default=None), under_way(desk, tub)
    )
