"""What is due, for a terminal of 80 columns, and each thing in words for a calendar or a message."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta

from tubwater.reports import units as show
from tubwater.reports.text import method_or, sentence, text_of
from tubwater.reports.wrapped import bullet
from tubwater.services.due import Due, DueKind

__all__ = ["due_note", "due_reason", "due_words", "reminder_text", "render_due"]


def render_due(dues: Sequence[Due], now: datetime, days: float) -> str:
    """The overdue first, then what is to come."""
    day = show.day(now + timedelta(days=days))
    if not dues:
        return _say("none", day=day) + "\n"
    late = [_row(due) for due in dues if due.now]
    coming = [_row(due) for due in dues if not due.now]
    parts = [_say("head", day=day), ""]
    for head, rows in (("overdue", late), ("coming", coming)):
        parts += [_say(head), *map(bullet, rows), ""] if rows else []
    return "\n".join([*parts, bullet(_say("caution"), "! ")]) + "\n"


def reminder_text(name: str, dues: Sequence[Due], now: datetime) -> str:
    """A letter about what is due on this day."""
    head = _say("mail-head", name=name, day=show.day(now))
    return "\n".join([head, "", *(bullet(_row(due)) for due in dues), "", _say("caution"), _say("mail-foot")]) + "\n"


def due_words(due: Due) -> str:
    """What is to be done, as one sentence."""
    if due.kind is DueKind.CARE or (due.kind is DueKind.TEST and due.every):
        return text_of("care", due.key)
    what = text_of("quantity", due.key) if due.kind is DueKind.TEST else method_or(due.key)
    expired = due.kind is DueKind.EXPIRES and due.overdue >= 1.0
    return _say("expired" if expired else str(due.kind), what=what)


def due_reason(due: Due) -> str:
    """Why then, as one sentence."""
    if due.now and due.reason.kind == "no-longer-sure":
        return _say("not-sure-now")
    return sentence(due.reason)


def _say(kind: str, **values: object) -> str:
    return text_of("due", kind, values)


def _row(due: Due) -> str:
    return _say("row", when=_when(due), what=due_words(due), why=due_reason(due), last=due_note(due))


def _when(due: Due) -> str:
    if due.overdue >= 1.0:
        return _say("late-weeks", day=show.day(due.at), days=round(due.overdue))
    if due.now:
        return _say("now")
    return show.day(due.at) if due.whole_day else _say("at", day=show.day(due.at), time=f"{due.at:%H:%M}")


def due_note(due: Due) -> str:
    """When it was done last and how long it takes, as far as that is known."""
    return ", ".join(_notes(due))


def _notes(due: Due) -> Iterator[str]:
    if due.kind in (DueKind.CARE, DueKind.TEST, DueKind.VISIT):
        yield _say("last", day=show.day(due.last)) if due.last else _say("never")
    if due.minutes:
        yield _say("minutes", minutes=due.minutes)
