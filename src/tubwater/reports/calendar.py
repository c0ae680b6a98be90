"""What is due as an iCalendar file (RFC 5545): instants in UTC, days as days, names that stay, no zones of its own."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING
from uuid import UUID, uuid5

from tubwater import __version__
from tubwater.reports import units as show
from tubwater.reports.due import due_reason, due_words
from tubwater.reports.language import language
from tubwater.reports.text import explain, text_of
from tubwater.services.due import Due

if TYPE_CHECKING:
    from icalendar import Event

__all__ = ["DAYS", "calendar_file", "event_uid"]

DAYS = 120.0  # ahead, where nothing is said
_NAMES = UUID("6f1a4f0e-5d0c-4b8e-9a52-3f1d2f5b7c10")  # a namespace of our own, drawn once
_HALF_HOUR = timedelta(minutes=30)
_AGAIN = timedelta(hours=12)  # after which a calendar should ask anew


def calendar_file(tub: str, name: str, dues: Iterable[Due], now: datetime, days: float = DAYS) -> bytes:
    """The file.

    Args:
        tub: what names the tub for good, for the names of the events. name: what people call it.
        dues: of ``tubwater.services.due``. now: aware; what is overdue stands on this day.
        days: how far ahead repeated tasks are shown.
    """
    # Imported here: the command line and the pages start without it.
    from icalendar import Calendar

    calendar = Calendar.new(
        uid=str(uuid5(_NAMES, tub)),
        prodid=f"-//Tubwater//Tubwater {__version__}//{language().value.upper()}",
        name=name,
        refresh_interval=_AGAIN,
        calscale="GREGORIAN",
    )
    for due in dues:
        calendar.add_component(_event(tub, name, due, now, days))
    content: bytes = calendar.to_ical()
    return content


def event_uid(tub: str, due: Due) -> str:
    """The same thing of the same tub has the same name in every file, whenever it is due (UUID of version 5)."""
    return str(uuid5(_NAMES, f"{tub}\n{due.kind}\n{due.key}"))


def _event(tub: str, name: str, due: Due, now: datetime, days: float) -> Event:
    from icalendar import Event
    from icalendar.enums import TRANSP

    start, end = _span(due, now)
    event = Event.new(
        uid=event_uid(tub, due),
        stamp=now.astimezone(UTC),
        sequence=int(now.timestamp()) // 60,
        start=start,
        end=end,
        summary=f"{name}: {due_words(due)}",
        description=_description(due),
        categories=[str(due.kind)],
        transparency=TRANSP.TRANSPARENT,
    )
    times = _times(due, start, now, days)
    if times > 1:
        event.add("rrule", {"freq": "daily", "interval": round(due.every), "count": times})
    return event


def _span(due: Due, now: datetime) -> tuple[date, date] | tuple[datetime, datetime]:
    """A day in the keeper's zone, or an instant; what is already due is due today."""
    if due.whole_day or due.now:
        day = max(due.at.astimezone(now.tzinfo).date(), now.date())
        return day, day + timedelta(days=1)
    at = due.at.astimezone(UTC).replace(microsecond=0)
    return at, at + _HALF_HOUR


def _times(due: Due, start: date | datetime, now: datetime, days: float) -> int:
    """How often a task that is done each time falls into the time ahead."""
    if due.every < 1.0 or isinstance(start, datetime):
        return 1
    last = (now + timedelta(days=days)).date()
    return max((last - start).days // round(due.every), 0) + 1


def _description(due: Due) -> str:
    late = text_of("due", "late", {"day": show.day(due.at)}) if due.overdue >= 1.0 else ""
    lines = [f"{text_of('due', 'overdue')} {late}." if late else "", due_reason(due), explain(due.reason)]
    return "\n".join([*(line for line in lines if line), text_of("due", "caution")])
